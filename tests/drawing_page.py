"""A page that shows a drawing without JupyterLab: the widget's own page code, and a model whose
messages go straight to the widget in this process.
"""

import base64
from contextlib import contextmanager

from browser import page

from gymtools.display.drawing import Drawing, widget
from gymtools.display.drawing.widget import TRAITS

SHELL = """
<!doctype html><meta charset="utf-8">
<style>body { margin: 0; background: #eee } #box { position: absolute; left: 0; top: 0 }</style>
<style id="own"></style><div id="box"></div>
"""
MODEL = """
async ([code, state, size]) => {
  const read = (v) => {
    if (Array.isArray(v)) return v.map(read);
    if (v === null || typeof v !== "object") return v;
    if ("base64" in v) {
      const raw = atob(v.base64), bytes = new Uint8Array(raw.length + 1);
      for (let n = 0; n < raw.length; n++) bytes[n + 1] = raw.charCodeAt(n);
      return new DataView(bytes.buffer, 1);  // aligned to nothing, as from a socket
    }
    return Object.fromEntries(Object.entries(v).map(([k, x]) => [k, read(x)]));
  };
  const heard = {}, stands = read(state);
  const fire = (name, what) => (heard[name] ?? []).forEach((act) => act(what));
  window.hear = ({ state, messages }) => {
    Object.assign(stands, read(state));
    Object.keys(state).forEach((name) => fire(`change:${name}`));
    messages.forEach((m) => fire("msg:custom", m));
  };
  window.sent = [];
  const model = {
    get: (name) => stands[name],
    on: (name, act) => (heard[name] ??= []).push(act),
    off: (name, act) => { heard[name] = (heard[name] ?? []).filter((a) => a !== act); },
    send: async (message) => {
      window.sent.push(message);
      window.hear(await window.kernel(message));
    },
  };
  const box = document.getElementById("box");
  box.style.width = `${size[0]}px`;
  box.style.height = `${size[1]}px`;
  const url = URL.createObjectURL(new Blob([code], { type: "text/javascript" }));
  const { default: own } = await import(url);
  const el = box.appendChild(document.createElement("div"));
  window.leave = own.render({ model, el });
}
"""
DRAWN = "n => Number(document.querySelector('.gt-plan')?.dataset.frames ?? 0) >= n"


def _plain(value):
    """A value as JSON takes it, buffers as base64."""
    if isinstance(value, bytes | memoryview):
        return {"base64": base64.b64encode(bytes(value)).decode()}
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value


class Kept(Drawing):
    """A drawing that keeps what it would send."""

    def __init__(self, **callbacks):
        super().__init__(**callbacks)
        self.changed, self.messages = set(), []

    def _lay(self, sheet):
        super()._lay(sheet)
        sheet.send = lambda content, buffers=None: self.messages.append(content)
        sheet.observe(lambda change: self.changed.add(change["name"]), names=TRAITS)

    def news(self):
        """What has changed since it was last asked."""
        state = {name: _plain(getattr(self.sheet, name)) for name in sorted(self.changed)}
        messages, self.messages = self.messages, []
        self.changed = set()
        return dict(state=state, messages=messages)

    def hears(self, message):
        """A message of the page arrives."""
        self.sheet._handle_custom_msg(message, [])
        return self.news()


@contextmanager
def drawing_page(drawing, size):
    """A page that shows a drawing in a box of a size; yields the page of the browser."""
    with page(max(size[0], 600), max(size[1], 400)) as sheet:
        sheet.expose_function("kernel", drawing.hears)
        sheet.set_content(SHELL)
        sheet.evaluate("css => document.getElementById('own').textContent = css", CSS)
        drawing.changed = set(TRAITS)
        state = drawing.news()["state"]
        sheet.evaluate(MODEL, [CODE, state, list(size)])
        sheet.wait_for_function(DRAWN, arg=1)
        yield sheet


def show(sheet, drawing):
    """Send what the drawing shows now, and wait until it has been drawn."""
    before = frames(sheet)
    sheet.evaluate("news => window.hear(news)", drawing.news())
    sheet.wait_for_function(DRAWN, arg=before + 1)


def frames(sheet):
    """Pictures that have been drawn so far."""
    return int(sheet.locator(".gt-plan").get_attribute("data-frames") or 0)


CODE = (widget.HERE / "drawing.js").read_text(encoding="utf-8")
CSS = (widget.HERE / "drawing.css").read_text(encoding="utf-8")
