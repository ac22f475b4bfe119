"""Scenario files and the loudspeaker files beside them, damaged at random: read soundly, or refused
in one line.
"""

import warnings
from copy import deepcopy
from datetime import date, time
from pathlib import Path

import netCDF4
import numpy as np
import pytest
import tomlkit
from fuzzing import SECONDS, fuzz, rows_of
from schools import AS_USED

from gymtools.acoustics.evaluate import evaluate
from gymtools.venue.files import draft, load, parse, to_text
from gymtools.venue.loudspeakers import loudspeaker_types
from gymtools.venue.measured import read_measured
from gymtools.venue.polars import read_polars
from gymtools.venue.sofa import read_sofa, write_sofa

SCENARIOS = sorted((Path(__file__).parents[1] / "scenarios").glob("*.toml"))
EVALUATED = 0.05  # share of the scenarios that were read
SHARE = 0.8  # of the time: each of two kinds of damage has less than a table has
ODD = [
    *(0, -1, 1, 3, 12, 1e-9, -1e-9, 1e9, -1e9, 1e300, 10**400, 2**63, float("nan")),
    *(float("inf"), -float("inf"), True, False, "", " ", "x", "court", "stage", "north", "ft"),
    *("a" * 5000, "\u202e", "é", [], ["x"], [1, 2], [[]], {}, {"x": 1}, {"court": 1.0}, [{}]),
    *(date(2026, 1, 1), time(12, 0), "nan", "../x.toml", "/dev/zero"),
]
SOURCE = loudspeaker_types()["pendant 100"]
DESCRIPTION = b"""name = "made"
description = "made up for tests"
balloon = "x.csv"
sensitivity_db = [90, 94, 96, 97, 97, 97, 94]
rated_w = 300
impedance_ohm = 8
width = 0.4
height = 0.62
depth = 0.38
weight_kg = 22
source = "made up for tests"
"""


def polars(angles, absolute):
    """A table of polars, as a laboratory writes it."""
    lines = ["plane,angle_deg,125,250,500,1000,2000,4000,8000"]
    for plane in ("horizontal", "vertical"):
        for angle in angles:
            level = absolute - abs(angle) / 12
            lines.append(f"{plane},{angle}" + f",{level:.1f}" * 7)
    return "\n".join(lines).encode()


POLARS = [polars(range(-180, 181, 10), 0.0), polars(range(0, 181, 15), 94.0)]


def sound(scenario):
    """What must hold of a scenario that was read: every position and picture of it is finite, and
    of some the answer in every seat.
    """
    assert all(np.isfinite(c.position).all() for c in scenario.loudspeakers)
    assert all(np.isfinite(c.type.balloon_db).all() for c in scenario.loudspeakers)
    assert all(w.isprintable() for w in scenario.warnings) and scenario.room.volume > 0
    assert parse(to_text(scenario), folder=".").name == scenario.name
    if np.random.default_rng(len(scenario.text)).random() < EVALUATED:
        for use in scenario.uses[:3]:
            result = evaluate(scenario, use.name)
            for figure in (result.points, result.level_db, result.total_db, result.sti, result.rt):
                assert np.isfinite(figure).all()
            assert all(np.isfinite(v.value) for v in result.verdicts if v.value is not None)
            assert result.microphones is not None


def finite(balloon):
    """What must hold of a balloon."""
    assert balloon.shape == (73, 37, 7) and np.isfinite(balloon).all() and balloon.max() <= 30.01


@pytest.fixture(autouse=True)
def said_once():
    """Former names of keys, which damage brings about, are no fault."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        yield


def beside(folder, name, read):
    """A reader of bytes: they are written into a file of that name."""

    def of(data):
        path = folder / name
        path.write_bytes(data)
        return read(path)

    return of


def test_fuzz_scenario_files(tmp_path):
    """Invariance: a damaged scenario file is a sound scenario or one line."""
    good = [*(path.read_bytes() for path in SCENARIOS), AS_USED.encode()]
    counts = fuzz(good, beside(tmp_path, "s.toml", load), sound, seconds=SECONDS * SHARE)
    print("scenario files", counts)
    assert sum(counts) > 3 and counts[1] > 0


def test_fuzz_scenario_values():
    """Invariance: a scenario with some of its values replaced by odd ones, left out, doubled or
    scaled is sound or one line.
    """
    texts = [*(path.read_text(encoding="utf-8") for path in SCENARIOS), AS_USED]
    parsed = [tomlkit.parse(text).unwrap() for text in texts]
    turn = iter(range(10**9))

    def read(seed):
        rng = np.random.default_rng(list(seed))
        tables = with_odd_values(parsed[next(turn) % len(parsed)], rng)
        try:
            text = tomlkit.dumps(tables)
        except (ValueError, TypeError):  # cannot be written as TOML
            raise ValueError("no TOML") from None
        drawn, told = draft(text, "s.toml")
        assert all(one.words.isprintable() for one in told) and (drawn or told)
        made = parse(text, "s.toml")
        drawn, told = draft(text, use=made.uses[0].name)
        assert told == [] and drawn == made.configuration()
        return made

    seeds = [np.random.default_rng(n).bytes(64) for n in range(4)]
    counts = fuzz(seeds, read, sound, seconds=SECONDS * SHARE)
    print("scenario values", counts)
    assert counts[0] > 0 and counts[1] > 0


def with_odd_values(tables, rng):
    """A copy with one to three of its values changed."""
    tables = deepcopy(tables)
    for _ in range(rng.integers(1, 4)):
        spots = list(leaves(tables))
        holder, key = spots[rng.integers(len(spots))]
        value = holder[key]
        match rng.integers(5):
            case 0:
                holder[key] = deepcopy(ODD[rng.integers(len(ODD))])
            case 1 if isinstance(holder, dict):
                del holder[key]
            case 2 if isinstance(value, list):
                holder[key] = value + deepcopy(value[:2])
            case _ if isinstance(value, (int, float)) and not isinstance(value, bool):
                # as a slider does, or as a slip of the unit does
                holder[key] = value * float(rng.choice([0.3, 0.7, 0.95, 1.05, 1.5, 3.28, -1, 1000]))
            case _:
                other, name = spots[rng.integers(len(spots))]
                holder[key] = deepcopy(other[name])
    return tables


def leaves(tables):
    """Every holder and key of a nest of tables and lists."""
    for key, value in list(tables.items() if isinstance(tables, dict) else enumerate(tables)):
        yield tables, key
        if isinstance(value, (dict, list)):
            yield from leaves(value)


def test_fuzz_sofa_files(tmp_path):
    """Invariance: a damaged SOFA file is a finite balloon or one line."""
    good = [sofa_bytes(tmp_path)]
    counts = fuzz(good, beside(tmp_path, "x.sofa", read_sofa), finite, seconds=SECONDS * SHARE)
    print("SOFA files", counts)
    assert sum(counts) > 3


def sofa_bytes(folder):
    """A good SOFA file."""
    write_sofa(SOURCE, folder / "good.sofa")
    return (folder / "good.sofa").read_bytes()


def test_fuzz_sofa_values(tmp_path):
    """Invariance: a SOFA file with odd numbers, units or shapes is a finite balloon or one line."""
    good = sofa_bytes(tmp_path)

    def read(seed):
        rng = np.random.default_rng(list(seed))
        path = tmp_path / "v.sofa"
        path.write_bytes(good)
        with netCDF4.Dataset(path, "a") as file:
            for _ in range(rng.integers(1, 3)):
                spoil(file, rng)
        return read_sofa(path)

    seeds = [np.random.default_rng(n).bytes(64) for n in range(4)]
    counts = fuzz(seeds, read, finite, seconds=SECONDS * SHARE)
    print("SOFA values", counts)
    assert counts[0] > 0 and counts[1] > 0


def spoil(file, rng):
    """One value, some values, or an attribute of a SOFA file changed."""
    numbers = [v for v in file.variables.values() if v.dtype.kind == "f"]
    variable = numbers[rng.integers(len(numbers))]
    odd = [np.nan, np.inf, -np.inf, 0.0, -1.0, 1e-300, 1e300, 1e9, 45.0]
    if rng.random() < 0.3:
        held = [(v, a) for v in numbers for a in v.ncattrs()]
        variable, name = held[rng.integers(len(held))]
        words = ["", "degree", "radian, radian, metre", "metre", "cartesian", "spherical", "3"]
        variable.setncattr(name, words[rng.integers(len(words))])
        return
    values = np.array(variable[:], float)
    at = rng.random(values.shape) < rng.choice([1e-3, 0.1, 1.0])
    at.flat[rng.integers(values.size)] = True
    if rng.random() < 0.3:
        values[at] *= rng.choice([-1, 1e-3, 1e3, np.pi / 180])
    else:
        values[at] = odd[rng.integers(len(odd))]
    variable[:] = values


def test_fuzz_polars(tmp_path):
    """Invariance: a damaged table of polars is a finite balloon, of which the levels at measured
    angles and octaves are those of the damaged text, or one line.
    """
    reader = beside(tmp_path, "p.csv", read_polars)

    def accept(made):
        balloon, data = made
        finite(balloon)
        rows = rows_of(data, "plane")
        compared = sum(stand_in_plane(balloon, rows, plane) for plane in ("horizontal", "vertical"))
        assert compared > 20, data.decode(errors="replace")

    for good in POLARS:
        accept((reader(good), good))
    counts = fuzz(POLARS, lambda data: (reader(data), data), accept, seconds=SECONDS * SHARE)
    print("polars", counts)
    assert sum(counts) > 3 and counts[1] > 0


def stand_in_plane(balloon, rows, plane):
    """Number of levels of one plane that were compared, in octaves of one column."""
    polar = {float(r["angle_deg"]): r for r in rows if r["plane"] == plane}
    columns = {float(c): c for c in rows[0] if c not in ("plane", "angle_deg")}
    count = 0
    for band, octave in enumerate((125, 250, 500, 1000, 2000, 4000, 8000)):
        inside = [c for f, c in columns.items() if 2**-0.5 <= f / octave < 2**0.5]
        for angle, row in polar.items():
            if len(inside) != 1 or angle % 5 or abs(angle) >= (90 if plane == "vertical" else 180):
                continue
            step = int(angle) // 5
            at = (36, 18 + step) if plane == "vertical" else (36 + step, 18)
            want = max(float(row[inside[0]]) - float(polar[0.0][inside[0]]), -60.0)
            assert abs(balloon[(*at, band)] - want) < 1e-6, (plane, angle, octave)
            count += 1
    return count


def test_fuzz_descriptions(tmp_path):
    """Invariance: a damaged description of a measured loudspeaker is a finite type or one line."""
    (tmp_path / "x.csv").write_bytes(POLARS[0])
    (tmp_path / "x.sofa").write_bytes(sofa_bytes(tmp_path))
    good = [DESCRIPTION, DESCRIPTION.replace(b"x.csv", b"x.sofa")]

    def accept(made):
        finite(made.balloon_db)
        assert np.isfinite([made.width, made.height, made.depth, made.rated_w]).all()
        assert made.name.isprintable() and np.isfinite(made.response_db).all()

    reader = beside(tmp_path, "m.toml", read_measured)
    counts = fuzz(good, reader, accept, seconds=SECONDS * SHARE)
    print("descriptions", counts)
    assert sum(counts) > 3
