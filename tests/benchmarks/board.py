"""From a change to the uses board, in the kernel: the row of the shown use, the whole board with
few rays and with all, and what the board costs the picture while a slider is dragged.

Run from the repository: .venv/bin/python tests/benchmarks/board.py
"""

import asyncio
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from gymtools.display.panel.board import BoardSection  # noqa: E402
from gymtools.display.panel.meeting import Meeting  # noqa: E402

SCHOOL = Path(__file__).resolve().parents[2] / "scenarios" / "larkfield.toml"
DOWN = ("groups", "north row", "downtilt_deg")
MOVES, EVERY = 30, 0.06  # of a drag: values, and time between two of them [s]


async def until(condition):
    """Give the page its turns until a condition holds."""
    while not condition():
        await asyncio.sleep(0.001)


async def single(panel, board, start):
    """Times from single changes to row and board [ms]."""
    rows, boards = [], []
    for move in range(MOVES):
        await asyncio.sleep(0.1)
        began = time.perf_counter()
        panel.set(DOWN, start + 0.3 * (move + 1))
        panel.live.flush()
        panel.tracing.later.cancel()
        await until(lambda: board.is_present(panel.state.use))
        rows.append(1000 * (time.perf_counter() - began))
        await until(lambda: all(board.is_present(u.name) for u in panel.scenario.uses))
        boards.append(1000 * (time.perf_counter() - began))
    return rows, boards


async def drag(panel, start, judged=None):
    """Times of every refresh of the panel while a slider is dragged [ms]; collects the uses that
    are judged meanwhile.
    """
    refreshed, section = [], panel.sections.get(BoardSection)
    if section is not None:
        take = section._judged
        section.job._on_progress = lambda kept: (judged.append(kept.judged.use), take(kept))
    for move in range(MOVES):
        await asyncio.sleep(EVERY)
        panel.tracing.later.cancel()
        panel.history.add(panel.state.update(changes={DOWN: start - 0.3 * (move + 1)}))
        began = time.perf_counter()
        panel.refresh()
        refreshed.append(1000 * (time.perf_counter() - began))
    panel.tracing.later.cancel()
    return refreshed


async def settled(panel, board):
    """Time from the traced room to the whole board [ms]."""
    panel.trace()
    began = time.perf_counter()
    await until(lambda: board.at_rest)
    return 1000 * (time.perf_counter() - began)


def words(times):
    """Median and 95th percentile."""
    ordered = sorted(times)
    last = ordered[int(0.95 * (len(ordered) - 1))]
    return f"median {statistics.median(ordered):.0f} ms, 95th percentile {last:.0f} ms"


async def main():
    """Print the figures."""
    panel = Meeting(SCHOOL)
    board = panel.sections[BoardSection]
    await until(lambda: all(board.is_present(u.name) for u in panel.scenario.uses))
    start = panel.value(DOWN)
    rows, boards = await single(panel, board, start)
    print(f"change to the row of the shown use, few rays: {words(rows[3:])}")
    print(f"change to the whole board, few rays: {words(boards[3:])}")
    print(f"whole board of all rays, once they are there: {await settled(panel, board):.0f} ms")
    judged = []
    print(f"refresh in a drag, with the board: {words(await drag(panel, start, judged))}")
    counts = [f"{u.name} {judged.count(u.name)}" for u in panel.scenario.uses]
    print(f"rows judged in that drag of {MOVES * EVERY:.1f} s and more: {', '.join(counts)}")
    await until(lambda: not board.job.running)
    del panel.sections[BoardSection]
    print(f"refresh in a drag, without it: {words(await drag(panel, start))}")


if __name__ == "__main__":
    asyncio.run(main())
