"""Time to show a view in the drawing: in the kernel, and in the page; a drag there and back.

Run from the repository: .venv/bin/python tests/benchmarks/drawing.py
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from drawing_page import Kept, drawing_page  # noqa: E402

import gymtools  # noqa: E402
from gymtools.design.dragging import Handle, dragged  # noqa: E402
from gymtools.display.drawing import picture  # noqa: E402
from gymtools.display.drawing.words import seat_sentence  # noqa: E402
from gymtools.display.scene import View  # noqa: E402

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
RUNS = 40
CASES = (
    ("game", "direct 2k"),
    ("graduation", "sti"),
    ("performance", "speech"),
    ("class", "feedback_margin"),
)
# a picture drawn over and over, the canvas read back: what was put off is done too
DRAW = """(runs) => { const { sheet } = document.querySelector('.gt-plan'), found = [];
  for (let n = 0; n < runs; n++) { const begun = performance.now(); sheet.draw();
    const drawn = performance.now(); sheet.ctx.getImageData(0, 0, 1, 1);
    found.push([drawn - begun, performance.now() - begun]); }
  return found; }"""


def cpu(run):
    """Median CPU time of a run, so that other programs do not count [ms]."""
    found = []
    for _ in range(RUNS):
        begun = time.thread_time()
        run()
        found.append(1000 * (time.thread_time() - begun))
    return float(np.median(found))


def line(name, *values):
    """Print one line of the table."""
    print(
        f"{name:42}"
        + "".join(f"{v:>10.2f}" if isinstance(v, float) else f"{v:>10}" for v in values)
    )


def kernel(scenario):
    """Print what a view costs before it is sent."""
    line("kernel [ms CPU]", "points", "view", "show", "hover", "kB")
    for use, quantity in CASES:
        result = gymtools.evaluate(scenario, use, rays="few")
        drawing = Kept()

        def fresh(result=result, quantity=quantity):
            view = View(result=result, quantity=quantity, units="ft")
            view.values  # noqa: B018
            return view

        def own(fresh=fresh):
            view = fresh()
            return view.beams, view.section, view.contours, view.labels

        before = cpu(fresh)
        shown = cpu(lambda drawing=drawing, fresh=fresh: drawing.show(fresh())) - before
        view = fresh()
        size = sum(len(v) for v in drawing.sheet.map.values() if isinstance(v, bytes)) / 1000
        line(
            f"{use}, {quantity}",
            len(view.values),
            cpu(own) - before,
            shown,
            cpu(lambda view=view: seat_sentence(view, 10)),
            size,
        )


def drags(scenario):
    """Print what a step of a drag costs before anything is evaluated."""
    line("a step of a drag [ms CPU]")
    row, aim = Handle(kind="position", group="north row"), Handle(kind="aim", group="north row")
    for name, handle, to in (
        ("position", row, (1.0, 6.0)),
        ("position, at a wall", row, (30.0, 6.0)),
        ("position, at another row", row, (0.0, 0.0)),
        ("aim point", aim, (1.0, 11.0)),
    ):
        line(f"  {name}", cpu(lambda h=handle, to=to: dragged(scenario, h, to, "game")))
    view = View(result=gymtools.evaluate(scenario, "game", rays="few"))
    changes, _ = dragged(scenario, row, (1.0, 6.0))
    groups = picture.moved(scenario.groups, changes)
    line("  rows drawn at once", cpu(lambda: picture.hung(view, groups)))


def pages(scenario):
    """Print what a picture costs in the page."""
    line("page [ms]", "drawn", "p95", "and raster")
    for size in ((420, 360), (560, 640), (1400, 900)):
        for use, quantity in CASES[:2]:
            drawing = Kept()
            result = gymtools.evaluate(scenario, use, rays="few")
            drawing.show(View(result=result, quantity=quantity, units="ft"), picked="north row")
            with drawing_page(drawing, size) as sheet:
                found = np.array(sheet.evaluate(DRAW, RUNS))
                drawn, whole = np.median(found, axis=0)
                line(
                    f"{size[0]} x {size[1]}, {quantity}",
                    drawn,
                    np.percentile(found[:, 0], 95),
                    whole,
                )


def main():
    """Print the tables."""
    scenario = gymtools.load(SCENARIOS / "larkfield.toml")
    kernel(scenario)
    drags(scenario)
    pages(scenario)


if __name__ == "__main__":
    main()
