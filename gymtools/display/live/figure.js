// Plotly's figure in the page: its code comes once for all figures, what is missed while it loads is
// made up for, and what moves is drawn without a full update of the figure.

const RESTS = 300;  // without a move, until it is drawn as finely as the screen allows [ms]
const ANSWERED = 4;  // every such move: an answer makes work for the whole page
const KINDS = { float32: Float32Array, float64: Float64Array, int32: Int32Array };
const SENT = ["update", "restyle", "relayout", "addTraces", "deleteTraces", "moveTraces",
  "animate", "removeLayoutProps", "removeTraceProps"];
const wait = (ms) => new Promise((done) => setTimeout(done, ms));

// Plotly's scenes look for changes in every frame that the screen shows, which keeps the page at
// work all day and takes every fourth turn from the rest of it: they look all the time only while
// somebody is at them or something has come for them
const CALM = "const requestAnimationFrame = globalThis.gymtoolsFrames;\n";
const AWAKE = 1500, ASLEEP = 300;  // after that; between two looks otherwise [ms]
let awake = 0;
const sleepers = new Map();

function wake() {
  awake = performance.now() + AWAKE;
  for (const [look, timer] of sleepers) {
    clearTimeout(timer);
    requestAnimationFrame(look);
  }
  sleepers.clear();
}

globalThis.gymtoolsFrames ??= (look) => {
  if (performance.now() < awake) return requestAnimationFrame(look);
  const later = () => { sleepers.delete(look); requestAnimationFrame(look); };
  sleepers.set(look, setTimeout(later, ASLEEP));
  return 0;
};
const HANDS = ["pointerdown", "pointermove", "pointerup", "wheel", "keydown", "touchmove"];

async function imported(...versions) {
  for (const [n, parts] of versions.entries()) {
    const url = URL.createObjectURL(new Blob(parts, { type: "text/javascript" }));
    try {
      return await import(url);
    } catch (error) {
      if (n === versions.length - 1) throw error;
    } finally {
      URL.revokeObjectURL(url);
    }
  }
}

async function load(model) {
  for (let tries = 0; ; tries++) {
    try {
      const code = await model.widget_manager.get_model(model.get("_code_id"));
      return quiet(await imported([CALM, code.get("text")], [code.get("text")]));
    } catch (error) {
      if (tries > 100) throw error;
      await wait(100);  // a page that is reloaded may not have the code yet
    }
  }
}

// after every update Plotly compares all that it draws with what it was given, and reports tens of
// kilobytes that nobody reads
function quiet(code) {
  code.FigureView.prototype._sendTraceDeltas = () => {};
  code.FigureView.prototype._sendLayoutDelta = () => {};
  return code;
}

const shared = (model) => (globalThis.gymtoolsPlotly ??= load(model));

async function start(model) {
  let missed = false;
  const note = () => { missed = true; };
  const noteMove = (message) => { if (message.kind === "move") missed = true; };
  SENT.forEach((name) => model.on(`change:_py2js_${name}`, note));
  model.on("msg:custom", noteMove);
  const figure = (await shared(model)).default();
  for (let tries = 0; missed && tries < 3; tries++) {
    missed = false;
    const answered = new Promise((done) => {
      model.on("msg:custom", (message) => { if (message.sent === "state") done(); });
    });
    model.send({ wanted: "state" });
    await Promise.race([answered, wait(20000)]);
  }
  SENT.forEach((name) => model.off(`change:_py2js_${name}`, note));
  model.off("msg:custom", noteMove);
  figure.initialize({ model });
  return figure;
}

function put(thing, path, value) {
  const steps = path.split("."), last = steps.pop();
  for (const step of steps) thing = thing[step] ??= {};
  thing[last] = value;
}

const AWAY = { x: Infinity, y: Infinity, z: Infinity };  // where a label is not drawn

// Draws what has moved in a scene by its drawing objects: a full update does everything else anew
// that stands still, and takes three times as long.
class Mover {
  constructor(model, el) {
    this.model = model;
    this.el = el;
    this.touched = new Set();
    this.hear = this.hear.bind(this);
    model.on("msg:custom", this.hear);
    SENT.forEach((name) => model.on(`change:_py2js_${name}`, wake));
    HANDS.forEach((name) => el.addEventListener(name, wake, { capture: true, passive: true }));
    window.addEventListener("resize", wake);
    this.after = () => {
      clearTimeout(this.looking);
      this.looking = setTimeout(() => this.mend(), 2 * RESTS);
    };
    SENT.forEach((name) => model.on(`change:_py2js_${name}`, this.after));
    wake();
  }

  close() {
    this.model.off("msg:custom", this.hear);
    SENT.forEach((name) => this.model.off(`change:_py2js_${name}`, wake));
    HANDS.forEach((name) => this.el.removeEventListener(name, wake, { capture: true }));
    window.removeEventListener("resize", wake);
    SENT.forEach((name) => this.model.off(`change:_py2js_${name}`, this.after));
    clearTimeout(this.looking);
    clearTimeout(this.resting);
    cancelAnimationFrame(this.frame);
  }

  hear(message, buffers) {
    if (message.kind !== "move") return;
    let taken = false;
    try { taken = this.take(message, buffers); } catch (error) { console.warn(error); }
    if (!taken) this.model.send({ wanted: "whole" });
    if (message.number % ANSWERED === 0) this.drawn = message.number;
    this.frame ??= requestAnimationFrame(() => this.draw());
    if (document.hidden) this.draw();  // such a page is given no frames
  }

  scene() {
    const full = this.el._fullLayout?.scene, scene = full?._scene;
    const stands = scene?.glplot && !scene.glplot.contextLost && scene.fullSceneLayout === full;
    return stands ? scene : null;
  }

  // whether all of it could be taken; nothing has changed where not
  take(message, buffers) {
    const scene = this.scene(), { _fullData: fulls, data } = this.el;
    if (!scene) return false;
    for (const { trace } of message.traces) {
      const full = fulls[trace];
      if (full?.visible !== true || !scene.traces[full.uid]?.update || !data[trace]) return false;
    }
    const shown = scene.fullSceneLayout.annotations, given = this.el.layout.scene.annotations;
    if (message.labels && (!shown?.length || !given)) return false;
    for (const { trace, values, arrays } of message.traces) {
      const full = fulls[trace];
      const all = { ...values };
      for (const [path, kind, at] of arrays) {
        const { buffer, byteOffset, byteLength } = buffers[at];
        all[path] = new KINDS[kind](buffer.slice(byteOffset, byteOffset + byteLength));
      }
      for (const [path, value] of Object.entries(all)) {
        put(full, path, value);
        put(data[trace], path, value);
      }
      if (all.x && full.type === "scatter3d") full._length = all.x.length;
      this.touched.add(trace);
    }
    if (message.labels) this.label(scene, shown, given, message.labels);
    return true;
  }

  label(scene, shown, given, labels) {
    const number = shown.length;
    shown.length = given.length = Math.min(number, labels.length);
    labels.forEach((label, n) => {
      given[n] = { ...given[n] ?? given[0], ...label };
      shown[n] = Object.assign(shown[n] ?? { ...shown[0], _index: n }, label, { _input: given[n] });
    });
    if (number !== labels.length) scene.convertAnnotations(scene);
  }

  // Plotly makes every label of a scene anew whenever it is drawn: only those that have moved are
  relabel(scene) {
    if (scene.drawAnnotations.only) return;
    const all = scene.drawAnnotations, drawn = new Map();
    scene.drawAnnotations = (whole) => {
      const { xaxis, yaxis, zaxis, annotations } = whole.fullSceneLayout;
      const axes = [xaxis, yaxis, zaxis], { projection, view, model } = whole.glplot.cameraParams;
      const seen = [...projection, ...view, ...model, ...whole.dataScale, ...whole.glplot.shape];
      const key = seen.join(), layer = whole.fullLayout._infolayer.node();
      const items = annotations.map((label, n) => {
        const at = [label.x, label.y, label.z];
        const mine = `${key} ${at} ${label.text}`;
        const node = layer.querySelector(`.annotation-${whole.id}[data-index="${n}"]`);
        if (node && drawn.get(n) === mine) return AWAY;
        drawn.set(n, mine);
        const inside = at.every((v, i) => {
          const share = axes[i].r2fraction(v);
          return share >= 0 && share <= 1;
        });
        if (inside) return label;
        node?.remove();
        return AWAY;
      });
      const { dataScale, fullLayout, graphDiv, id, glplot } = whole;
      const kept = { select: () => ({ remove() {} }) };
      all({ dataScale, graphDiv, id, glplot, fullLayout: { ...fullLayout, _infolayer: kept },
        fullSceneLayout: { xaxis, yaxis, zaxis, annotations: items } });
    };
    scene.drawAnnotations.only = true;
  }

  draw() {
    cancelAnimationFrame(this.frame);
    this.frame = null;
    const scene = this.scene();
    if (scene) {
      const { glplot } = scene;
      this.fine ??= glplot.pixelRatio;
      glplot.pixelRatio = Math.min(this.fine, 1);  // while it moves
      for (const trace of this.touched) {
        const full = this.el._fullData[trace];
        scene.traces[full.uid]?.update(full);
      }
      this.touched.clear();
      // what the pointer would find is drawn when nothing moves any more
      for (const object of glplot.objects) object.dirty = false;
      this.relabel(scene);
      glplot.redraw();
      clearTimeout(this.resting);
      this.resting = setTimeout(() => this.refine(), RESTS);
      this.el.emit("plotly_afterplot");
    }
    if (this.drawn) this.model.send({ drawn: this.drawn });
    this.drawn = 0;
  }

  // a full update that comes while something moves can leave the scene without its labels: where one
  // that lies inside is not there when all is at rest, the scene is drawn once more
  mend() {
    const scene = this.scene(), labels = scene?.fullSceneLayout.annotations;
    if (!labels?.length) return;
    const { xaxis, yaxis, zaxis } = scene.fullSceneLayout, axes = [xaxis, yaxis, zaxis];
    const layer = scene.fullLayout._infolayer.node();
    const missing = labels.some((label, n) => label.visible !== false && label.text
      && [label.x, label.y, label.z].every((v, i) => {
        const share = axes[i].r2fraction(v);
        return share >= 0 && share <= 1;
      })
      && !layer.querySelector(`.annotation-${scene.id}[data-index="${n}"]`));
    if (missing) scene.glplot.redraw();
  }

  refine() {
    const scene = this.scene();
    if (!scene) return;
    scene.glplot.pixelRatio = this.fine;
    scene.glplot.update({});
    scene.glplot.redraw();
    this.after();
  }
}

export default () => {
  let started;
  return {
    initialize({ model }) {
      // a model that anywidget has given up hears nothing: its watch must know
      model.on("msg:custom", () => model.set("_hears", true));
      model.send({ wanted: "answer" });
      started = start(model);
      started.catch(console.warn);
    },
    async render({ model, el }) {
      const done = (await started).render({ model, el });
      const mover = new Mover(model, el);
      return () => { mover.close(); done?.(); };
    },
  };
};
