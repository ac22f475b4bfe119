const DEAF = 4000, UNDRAWN = 30000, ASLEEP = 20000;  // how long either may last [ms]
export default { render({ model, el }) {
  const fit = () => window.dispatchEvent(new Event("resize"));
  const sized = new ResizeObserver(() => requestAnimationFrame(fit));
  // the wheel scrolls the page; with Ctrl it comes nearer to what the picture shows
  const calm = (event) => { if (!event.ctrlKey) event.stopPropagation(); };
  let beside = null;
  requestAnimationFrame(() => {
    beside = el.parentElement;
    if (!beside) return;
    sized.observe(beside);
    beside.addEventListener("wheel", calm, { capture: true, passive: true });
  });
  const drawn = () => [...(el.parentElement?.querySelectorAll(".js-plotly-plot") ?? [])]
    .some((g) => g.data?.length && g._fullData?.length);
  const hears = async () => {
    try {
      const figure = await model.widget_manager.get_model(model.get("figure_id"));
      return Boolean(figure.get("_hears"));
    } catch (error) { return false; }
  };
  let timers = [], gone = false, idle = false, since = performance.now();
  let waited = 0, asleep = 0;
  // the kernel takes turns: once it has answered here, the figure has been answered before
  model.on("msg:custom", () => { idle = true; });
  model.send({ wanted: "answer" });
  el.className = "gt-drawing";
  el.style.color = "#595959";
  el.textContent = "Drawing ...";
  const check = async () => {
    const heard = await hears();
    if (gone) return;
    if (drawn() && heard) {
      el.textContent = "";
      timers = [0, 300, 1000, 2500].map((ms) => setTimeout(fit, ms));
      return;
    }
    // a page that is busy does not look either: only turns that it had count; a watch that was
    // given up itself hears no answer
    asleep += Math.min(performance.now() - since, 500);
    if (idle || asleep > ASLEEP) waited += Math.min(performance.now() - since, 500);
    since = performance.now();
    if (waited > (heard ? UNDRAWN : DEAF)) {
      if (!model.get("tries") || model.get("asked")) {
        el.textContent = "The picture cannot be drawn. Reload the page.";
        return;
      }
      waited = 0;
      model.set("asked", 1);
      model.save_changes();
    }
    timers = [setTimeout(check, 250)];
  };
  check();
  return () => {
    gone = true;
    sized.disconnect();
    timers.forEach(clearTimeout);
    beside?.removeEventListener("wheel", calm, { capture: true });
  };
} };
