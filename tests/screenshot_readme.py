"""Takes the README's picture of the design workbook again. Run by hand:

python tests/screenshot_readme.py
"""

from browser import ROOT, jupyter_lab, open_workbook, page

BOOK = "workbooks/design_meeting.ipynb"
TARGET = ROOT / "workbooks" / "design_meeting.png"
SIZE = dict(width=1440, height=900)  # of the screen [px]


def main():
    """Open the workbook, run it, wait until the traced room is shown, and take the picture."""
    with jupyter_lab() as address, page(**SIZE) as sheet:
        open_workbook(sheet, address, BOOK)
        drawn = "() => document.querySelector('.js-plotly-plot')._fullLayout.scene"
        sheet.wait_for_function(drawn, timeout=60_000)
        # all rays of the other uses too
        known = """() => !/few rays|so far/.test(document.querySelector('.gt-page').innerText)"""
        sheet.wait_for_function(known, timeout=120_000)
        sheet.wait_for_timeout(2000)  # names of the picture
        sheet.screenshot(path=TARGET)
    print(f"{TARGET.relative_to(ROOT)}: {TARGET.stat().st_size / 1024:.0f} kB")


if __name__ == "__main__":
    main()
