"""Names of controls for those who hear the page: a slider's handle has none of its own."""

import anywidget


class AccessibleNames(anywidget.AnyWidget):
    """Gives every handle of a slider the name and the value that stand beside it, every box whose
    value was refused the reason why, every list its heading, and the buttons of a kept design its
    name.

    It shows nothing. It begins with the page's model, not with a view, and works on even where a
    busy page has given the model up.
    """

    _esm = """
    let words = 0;
    const set = (element, name, value) => {
      if (element && value && element.getAttribute(name) !== value)
        element.setAttribute(name, value);
    };
    const text = (element) => element?.textContent.trim();
    function nameSlider(slider) {
      const whole = slider.closest(".gt-slider") ?? slider;
      const entry = whole.querySelector("input[type=text]");
      for (const handle of slider.querySelectorAll(".noUi-handle")) {
        set(handle, "aria-label", text(whole.querySelector(".widget-label")));
        set(handle, "aria-valuetext", entry?.value);
      }
    }
    function describe(whole) {
      const entry = whole.querySelector("input[type=text]");
      const said = whole.querySelector(".gt-said");
      if (!entry) return;
      set(entry, "aria-invalid", String(Boolean(said?.classList.contains("gt-refused"))));
      if (!said) { entry.removeAttribute("aria-describedby"); return; }
      said.id ||= `gt-said-${++words}`;
      set(said, "role", "status");
      set(entry, "aria-describedby", said.id);
    }
    const listHeading = (list) =>
      text(list.querySelector(".widget-label"))
      || text(list.closest(".widget-vbox")?.querySelector(".widget-html"));
    function name() {
      document.querySelectorAll(".widget-slider").forEach(nameSlider);
      document.querySelectorAll(".gt-slider").forEach(describe);
      const titled = ".gt-kept button[title], .gt-form button[title]";
      document.querySelectorAll(titled).forEach((button) =>
        set(button, "aria-label", button.title));
      document.querySelectorAll(".widget-select-multiple").forEach((list) =>
        set(list.querySelector("select"), "aria-label", listHeading(list)));
    }
    export default () => ({
      initialize() {
        if (globalThis.gymtoolsNames) return;  // one for the page
        let asked = false;
        const ask = () => {
          if (asked) return;
          asked = true;
          setTimeout(() => { asked = false; name(); }, 150);  // not in every frame of a move
        };
        globalThis.gymtoolsNames = new MutationObserver(ask);
        globalThis.gymtoolsNames.observe(document.body, {
          childList: true, subtree: true, attributes: true, attributeFilter: ["aria-valuenow"],
        });
        ask();
      },
    });
    """
