// Plays sounds of equal standing and switches between them without losing the place.
// The sounds come from the kernel when Play is pressed; they are kept until the settings change.
const FADE_S = 0.012;  // of a switch: no click
const START_VOLUME = 0.25;  // a quarter of full scale: soft

export default () => {
  let context = null, buffers = [], gains = [], seconds = [], have = -1;
  let nodes = [], begun = 0, at = 0, chosen = 0, playing = false;
  // Play was pressed and is not answered; a setting that was changed just before may still come in
  let asked = false, waiting = false;
  let volume = START_VOLUME, master = null, timer = null, gone = false;
  const views = new Set(), places = new Set();
  const show = () => views.forEach((view) => view());
  const length = () => Math.max(0.01, ...seconds);
  const place = () => (playing ? Math.min(context.currentTime - begun, length()) : at);

  const open = () => {
    if (!context) {
      context = new AudioContext({ sampleRate: 48000 });
      master = context.createGain();
      master.gain.value = volume;
      master.connect(context.destination);
    }
    context.resume();
  };
  const halt = () => {
    for (const { source } of nodes) {
      source.onended = null;
      source.stop();
    }
    nodes = [];
  };
  const stop = (to) => {
    at = to ?? place();
    if (at >= length() - 0.02) at = 0;
    playing = false;
    clearInterval(timer);
    halt();
    show();
  };
  const play = (from) => {
    halt();
    at = Math.min(Math.max(from, 0), length() - 0.01);
    chosen = Math.min(chosen, buffers.length - 1);
    const when = context.currentTime + 0.02;
    nodes = buffers.map((buffer, n) => {
      const source = context.createBufferSource(), gain = context.createGain();
      source.buffer = buffer;
      gain.gain.value = n === chosen ? gains[n] : 0;
      source.connect(gain).connect(master);
      source.start(when, Math.min(at, buffer.duration));
      return { source, gain };
    });
    begun = when - at;
    playing = true;
    clearInterval(timer);
    timer = setInterval(() => {
      // nothing plays out of sight: there would be no button to stop it
      if (place() >= length() || ![...places].some((el) => el.checkVisibility())) stop();
      else show();
    }, 100);
    show();
  };
  const choose = (n) => {
    chosen = n;
    nodes.forEach(({ gain }, k) =>
      gain.gain.setTargetAtTime(k === n ? gains[k] : 0, context.currentTime, FADE_S / 3));
    show();
  };
  const unpack = (view, rate) => {
    const data = new Int16Array(view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength));
    const buffer = context.createBuffer(2, data.length / 2, rate);
    for (const channel of [0, 1]) {
      const samples = buffer.getChannelData(channel);
      for (let k = 0; k < samples.length; k++) samples[k] = data[2 * k + channel] / 32767;
    }
    return buffer;
  };

  return {
    initialize({ model }) {
      const heard = (message, given) => {
        if (message.play === undefined || message.play !== model.get("wanted") || !asked) return;
        open();
        buffers = given.map((view) => unpack(view, model.get("rate")));
        ({ gains, seconds } = message);
        have = message.play;
        waiting = asked = false;
        play(0);
      };
      const changed = () => {
        if (playing) stop(0); else at = 0;
        show();
      };
      const worked = () => {
        waiting = model.get("working");
        show();
      };
      const lost = () => {
        gone = true;
        waiting = false;
        show();
      };
      model.on("msg:custom", heard);
      model.on("change:wanted", changed);
      model.on("change:names", show);
      model.on("change:words", show);
      model.on("change:working", worked);
      model.on("comm_live_update", lost);
      return () => {
        if (playing) stop(0);
        context?.close();
        model.off(null);
      };
    },

    render({ model, el }) {
      el.className = "gt-player";
      el.setAttribute("role", "group");
      el.setAttribute("aria-label", "Listen: Space plays and stops, digits switch");
      const make = (tag, parts = {}) => Object.assign(document.createElement(tag), parts);
      const go = make("button", { className: "gt-player-go" });
      const choices = make("span", { className: "gt-player-choices" });
      const slide = make("input", { type: "range", min: 0, step: 0.01, title: "Place in time" });
      slide.setAttribute("aria-label", "Place in time, seconds");
      const loud = make("input", { type: "range", min: 0, max: 1, step: 0.01, value: volume });
      loud.setAttribute("aria-label", "Volume");
      const time = make("span", { className: "gt-player-time" });
      const said = make("span", { className: "gt-player-said" });
      said.setAttribute("role", "status");
      const caution = make("p", { className: "gt-player-caution", textContent: model.get("caution") });
      const row = make("div", { className: "gt-player-row" });
      const quieter = make("label", { textContent: "Volume " });
      quieter.append(loud);
      row.append(go, choices, slide, time, quieter);
      el.append(row, caution, said);

      const toggle = () => {
        if (playing) return stop();
        if (gone || waiting) return;
        open();
        if (have === model.get("wanted") && buffers.length) return play(at);
        waiting = asked = true;
        model.send({ ask: "play" });
        show();
      };
      go.onclick = toggle;
      slide.oninput = () => {
        if (playing) play(Number(slide.value)); else { at = Number(slide.value); show(); }
      };
      loud.oninput = () => {
        volume = Number(loud.value);
        if (master) master.gain.value = volume;
        show();
      };
      el.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.altKey || event.metaKey) return;
        const digit = Number(event.key);
        if (event.key === " " && event.target !== go) toggle();
        else if (digit >= 1 && digit <= model.get("names").length) choose(digit - 1);
        else return;
        event.preventDefault();
        event.stopPropagation();
      });

      const view = () => {
        const names = model.get("names");
        if (choices.children.length !== names.length
            || names.some((name, n) => choices.children[n].textContent !== name)) {
          choices.replaceChildren(...names.map((name, n) => {
            const button = make("button", { textContent: name, title: `Key ${n + 1}` });
            button.onclick = () => choose(n);
            return button;
          }));
        }
        chosen = Math.min(chosen, Math.max(names.length - 1, 0));
        [...choices.children].forEach((b, n) => b.setAttribute("aria-pressed", n === chosen));
        go.textContent = playing ? "■ Stop" : waiting ? "Working …" : "▶ Play";
        go.disabled = gone && !playing;
        const ready = have === model.get("wanted") && buffers.length > 0;
        slide.disabled = !ready;
        slide.max = ready ? length() : 1;
        slide.value = ready ? place() : 0;
        time.textContent = ready ? `${place().toFixed(1)} of ${length().toFixed(1)} s` : "";
        loud.value = volume;
        el.dataset.state = playing ? "playing" : waiting ? "working" : "still";
        el.dataset.place = ready ? place().toFixed(2) : "";
        el.dataset.chosen = chosen + 1;
        const text = gone
          ? "The kernel is gone: run the notebook again to make new sounds."
          : model.get("words");
        if (said.textContent !== text) said.textContent = text;
      };
      views.add(view);
      places.add(el);
      view();
      return () => {
        views.delete(view);
        places.delete(el);
      };
    },
  };
};
