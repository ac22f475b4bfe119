"""From a key press on the tilt slider to the redrawn figure, in a real browser: median and 95th
percentile.

Run from the repository: .venv/bin/python tests/benchmarks/slider.py
"""

import statistics
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from browser import ROOT, jupyter_lab, open_workbook, page  # noqa: E402

MOVES = 50
PRESS = """(key) => new Promise(done => {
  const figure = document.querySelector('.js-plotly-plot'), start = performance.now();
  window.redrawn = () => done(performance.now() - start);
  document.activeElement.dispatchEvent(
    new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
  setTimeout(() => done(-1), 5000);
})"""


def main():
    """Print the figures."""
    with jupyter_lab(ROOT) as address, page() as sheet:
        open_workbook(sheet, address, "workbooks/design_meeting.ipynb")
        sheet.evaluate(
            "() => document.querySelector('.js-plotly-plot').on('plotly_afterplot', () =>"
            " window.redrawn && window.redrawn())"
        )
        sheet.locator(".gt-slider", has_text="Tilt down").locator(".noUi-handle").focus()
        times = []
        for move in range(MOVES + 10):
            times.append(sheet.evaluate(PRESS, "ArrowRight" if (move // 10) % 2 else "ArrowLeft"))
            sheet.wait_for_timeout(250)
        times = sorted(times[10:])
        assert times[0] > 0, "a move was not drawn"
        print(
            f"{MOVES} moves: median {statistics.median(times):.0f} ms, 95th percentile"
            f" {times[int(0.95 * MOVES)]:.0f} ms, least {times[0]:.0f} ms"
        )


if __name__ == "__main__":
    main()
