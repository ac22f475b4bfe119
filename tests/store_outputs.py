"""Runs workbooks and stores their outputs as the tests want them: no widget state, and nothing of
cells that show widgets. Run by hand:

python tests/store_outputs.py workbooks/training/01_distance_and_level.ipynb ...
"""

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

WIDGET = "application/vnd.jupyter.widget-view+json"


def stored(path):
    """Run one workbook and write it back."""
    book = nbformat.read(path, as_version=4)
    folder = {"metadata": {"path": path.parent}}
    NotebookClient(
        book, timeout=600, kernel_name="python3", resources=folder, store_widget_state=False
    ).execute()
    for cell in book.cells:
        cell.metadata.pop("execution", None)  # times of the run
        if any(WIDGET in output.get("data", {}) for output in cell.get("outputs", [])):
            cell.outputs, cell.execution_count = [], None  # nbval: not run, nothing to compare
    nbformat.write(book, path)


if __name__ == "__main__":
    for name in sys.argv[1:]:
        stored(Path(name).resolve())
        print(name)
