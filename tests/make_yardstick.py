"""Makes the scale of a design task's brief. Run by hand when the brief, a criterion or the example
prices change:

python tests/make_yardstick.py workbooks/training/briefs/fernhollow.toml
"""

import sys

from gymtools.training.task import yardstick
from gymtools.training.yardstick import beside, yardstick_text
from gymtools.venue.files import load

for name in sys.argv[1:]:
    brief = load(name)
    beside(name).write_text(yardstick_text(yardstick(brief), brief.name), encoding="utf-8")
    print(beside(name).read_text(encoding="utf-8"))
