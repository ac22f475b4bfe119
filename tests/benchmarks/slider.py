"""From a key press on the downtilt slider to the new picture, in a real browser: until plan and
section are drawn, until the picture in space is, and until the frame with both has been shown.

Every move waits until all rays of the last one have been followed. Run from the repository:
.venv/bin/python tests/benchmarks/slider.py [moves] [group]
"""

import statistics
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from browser import ROOT, SETTLED, jupyter_lab, open_workbook, page  # noqa: E402

SIZE = dict(width=1440, height=900)
WARM = 4  # moves that do not count
PRESS = """(key) => new Promise(done => {
  const figure = document.querySelector('.gt-work .js-plotly-plot');
  const sheet = document.querySelector('.gt-drawing-frame [data-frames]')
    ?? document.querySelector('[data-frames]');
  const start = performance.now(), at = {};
  const since = () => performance.now() - start;
  const over = () => {
    if (!at.plan || !at.space || at.shown) return;
    at.shown = 1;
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const gl = figure.querySelector('canvas')?.getContext('webgl');
      if (gl) gl.readPixels(0, 0, 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array(4));
      done([at.plan, at.space, since()]);
    }));
  };
  const watch = new MutationObserver(() => { at.plan ??= since(); watch.disconnect(); over(); });
  watch.observe(sheet, { attributes: true, attributeFilter: ['data-frames'] });
  figure.once('plotly_afterplot', () => { at.space = since(); over(); });
  document.activeElement.dispatchEvent(
    new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
  setTimeout(() => done(null), 5000);
})"""


def words(times):
    """Median and 95th percentile."""
    ordered = sorted(times)
    last = ordered[int(0.95 * (len(ordered) - 1))]
    return f"median {statistics.median(ordered):.0f} ms, 95th percentile {last:.0f} ms"


def main():
    """Print the figures."""
    moves = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    with jupyter_lab(ROOT) as address, page(**SIZE) as sheet:
        open_workbook(sheet, address, "workbooks/design_meeting.ipynb")
        found = []
        for move in range(moves + WARM):
            sheet.wait_for_selector(SETTLED, state="attached", timeout=60_000)
            sheet.wait_for_timeout(700)  # the board is worked out after that
            handle = sheet.locator(".gt-slider", has_text="Downtilt").locator(".noUi-handle")
            handle.first.focus()
            key = "ArrowRight" if (move // 5) % 2 else "ArrowLeft"
            times = sheet.evaluate(PRESS, key)
            assert times, "a move was not drawn"
            found.append(times)
        plan, space, shown = zip(*found[WARM:], strict=True)
        print(f"{moves} moves of one row; from the key to")
        print(f"  plan and section drawn: {words(plan)}")
        print(f"  picture in space drawn: {words(space)}")
        print(f"  frame with both shown: {words(shown)}")


if __name__ == "__main__":
    main()
