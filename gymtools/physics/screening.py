r"""Sound behind an edge: what stands in a line of sight, and how much of each octave comes around.

The line from a loudspeaker to a seat is free, or something stands in it. Then sound goes the
shortest way that bends over one edge or two; the detour against the straight line gives the loss.
A line that is free and passes close to an edge loses a little too, so that nothing jumps where
light and shadow meet.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from . import bands, compiled
from .checks import within
from .geometry import INSIDE, Polygons, in_sight
from .reverberation import C

C2 = 40.0  # without reflections, which are followed for themselves [-]    ISO 9613-2, 7.4
# most that one edge, and two, take off [dB]    ISO 9613-2, 7.4
ONE_EDGE_DB, TWO_EDGES_DB = 20.0, 25.0
STEP = 0.02  # how far over an edge it is looked whether there is air [m]
# a bent way is looked at so far off its edges, so that their own faces do not count [m]
NUDGE = 0.01
SAME = 2e-3  # edges that are no farther apart are one [m]
SAMPLES = 20  # places along an edge where it is looked
# how far inside an edge a bent way is stopped: it is off all edges that it bends over [m]
SLIT = 1e-4
STRAIGHT = 1e-9  # a turn that is none
ROUNDS = 8  # in which the two points of a way over two edges are found
# the longest detours that still count: two edges at 125 Hz reach their limit, and a free line
# loses something at 125 Hz
LONGEST = (10 ** (TWO_EDGES_DB / 10) - 3) / C2 * C / bands.EXACT[0]  # [m]
GRAZING = 2 / C2 * C / bands.EXACT[0]  # [m]
SLACK = 1.1  # for air that is warmer than 20 degC [-]


def screening_loss_db(detour, *, between=0.0, edges=1, frequency=bands.EXACT, speed_of_sound=C):
    r"""Loss behind a screen.

    .. math::
        D_z = 10 \lg \Bigl[3 + \frac{C_2}{\lambda} C_3 z \Bigr], \qquad
        C_3 = \frac{1 + (5\lambda/e)^2}{1/3 + (5\lambda/e)^2}

    Parameters
    ----------
    detour : float or array
        z: the way over the edges less the straight line, (...); negative where the line passes free
        of them, by the same amount; -infinity far from any edge, infinity where no way is found [m]
    between : float or array
        e: way between the two edges (...), 0 to 100; not used with one edge [m]
    edges : int or array
        How many edges the way bends over (...), 1 or 2 [-]
    frequency : float or array
        Mid-band frequencies (band,), 20 to 20,000 [Hz]
    speed_of_sound : float
        300 to 370 [m/s]

    Returns
    -------
    loss : ndarray
        (..., band), 0 to 20 with one edge and to 25 with two [dB]

    Raises
    ------
    ValueError
        Something is outside its range

    Notes
    -----
    C_2 is 40: reflections are followed for themselves. K_met is 1, as for ways under 100 m. At the
    line of sight the loss is 4.8 dB; it dies away where the line passes free of the edge by a
    detour of 2/40 of the wavelength. Where a second edge comes into the way the formula itself
    steps: C_3 goes from 1 to at most 3.

    Sources
    -------
    ISO 9613-2:1996, 7.4, eq. (14) and (15), and its limits of 20 and 25 dB. Free lines: Directive
    (EU) 2015/996 (CNOSSOS-EU), eq. (2.5.21): the same formula down to 40 z / lambda = -2 (from
    memory).

    Examples
    --------
    >>> screening_loss_db([0.0, 0.343], frequency=1000.0, speed_of_sound=343.0).round(1).tolist()
    [[4.8], [16.3]]
    """
    f = within("frequency", np.atleast_1d(frequency), 20, 20_000, "Hz")
    c = within("speed_of_sound", speed_of_sound, 300, 370, "m/s")
    e = within("between", between, 0, 100, "m", "Feet given by mistake?")
    number = within("edges", edges, 1, 2, "edges")
    z = within("detour", detour, -np.inf, np.inf, "m")
    z, e, number = (v[..., None] for v in np.broadcast_arrays(z, e, number))
    wavelength = c / f
    share = np.divide(e, 5 * wavelength, out=np.zeros(np.broadcast_shapes(e.shape, f.shape)))
    c3 = np.where(number == 2, (share**2 + 1) / (share**2 / 3 + 1), 1.0)  # (15), with e / 5 lambda
    argument = np.maximum(3 + C2 / wavelength * c3 * z, 1.0)
    with np.errstate(divide="ignore"):
        loss = 10 * np.log10(argument)
    return np.minimum(loss, np.where(number == 2, TWO_EDGES_DB, ONE_EDGE_DB))


@dataclass(frozen=True, eq=False)
class Screens:
    """What may stand in a line of sight, and the edges that sound can bend over.

    Parameters
    ----------
    polygons : Polygons
        What may stand in the way [m]
    start, end : ndarray
        Ends of the free edges (edge, 3) [m]
    owner : ndarray of int
        The polygons that meet in each edge (edge, 2), twice the same where there is only one [-]
    sheets : sequence of tuple
        What lets sound through: the Screens of each, and the share that goes through (band,)
    """

    polygons: Polygons
    start: np.ndarray
    end: np.ndarray
    owner: np.ndarray
    sheets: tuple = ()

    def __len__(self):
        return len(self.polygons) + len(self.sheets)

    def tobytes(self):
        """All that a line of sight depends on.

        Returns
        -------
        bytes : bytes
            For a key
        """
        shapes = [getattr(self.polygons, f.name) for f in fields(Polygons)]
        own = [np.ascontiguousarray(a).tobytes() for a in (*shapes, self.start, self.end)]
        sheets = [sheet.tobytes() + passed.tobytes() for sheet, passed in self.sheets]
        return b"".join([*own, *sheets])


def screens(polygons, blocks, passed=None):
    """The screens of a room with their free edges.

    An edge is free where a small step over it, in the plane of its polygon, meets no other surface:
    not where a thing stands on the floor or against a wall, nor where two faces lie on each other.

    Parameters
    ----------
    polygons : Polygons
        All surfaces of the room [m]
    blocks : array of bool
        Which of them may stand in a line of sight (surface,)
    passed : array, optional
        Share of the energy that goes through each (surface, band); nothing when left out [-]

    Returns
    -------
    screens : Screens
        In the order of the surfaces
    """
    through = np.zeros(len(polygons), bool) if passed is None else np.any(passed, axis=1)
    blocks = np.asarray(blocks, bool)
    opaque = _with_edges(polygons, np.flatnonzero(blocks & ~through))
    sheets = [(k, passed[k]) for k in np.flatnonzero(blocks & through)]
    return replace(opaque, sheets=tuple((_with_edges(polygons, [k]), p) for k, p in sheets))


def _with_edges(polygons, at):
    """Some polygons of a room as screens."""
    found = {}
    for n, k in enumerate(at):
        for ends in _free_edges(polygons, k):
            # two faces of a thing share an edge, each the other way round
            key = tuple(sorted(tuple(np.round(end / SAME).astype(int).tolist()) for end in ends))
            found.setdefault(key, (*ends, []))[2].append(n)
    rows = list(found.values())
    start, end = (np.array([row[i] for row in rows], float).reshape(-1, 3) for i in (0, 1))
    owner = np.array([(row[2][0], row[2][-1]) for row in rows], np.int64).reshape(-1, 2)
    return Screens(polygons.some(at), start, end, owner)


def _free_edges(polygons, k):
    """Ends of what is free of the edges of one polygon."""
    corner = polygons.corner[k].astype(float)
    following = np.roll(corner, -1, axis=0)
    sides = np.flatnonzero(np.linalg.norm(following - corner, axis=1) > 2 * STEP)
    if not len(sides):
        return
    a, b, inward = corner[sides], following[sides], polygons.edge[k][sides].astype(float)
    share = (np.arange(SAMPLES) + 0.5) / SAMPLES
    on = a[:, None] + share[:, None] * (b - a)[:, None]  # (side, sample, 3)
    within_it, over = on + STEP * inward[:, None], on - STEP * inward[:, None]
    met = _meets(polygons, k, within_it.reshape(-1, 3), over.reshape(-1, 3))
    for one, other, free in zip(a, b, ~met.reshape(on.shape[:2]), strict=True):
        if free.any():
            first, last = np.flatnonzero(free)[[0, -1]]
            yield one + first / SAMPLES * (other - one), one + (last + 1) / SAMPLES * (other - one)


def _meets(polygons, k, start, end):
    """Whether steps in the plane of a polygon meet another one: across them, or in their plane."""
    normal, offset = polygons.normal.astype(float), polygons.offset.astype(float)
    edge, limit = polygons.edge.astype(float), polygons.edge_offset.astype(float)
    a, b = start @ normal.T - offset, end @ normal.T - offset  # (step, polygon)
    level = polygons.plane == polygons.plane[k]
    step, other = np.nonzero((a * b < 0) & ~level)
    a, b = a[step, other], b[step, other]
    there = start[step] + (a / (a - b))[:, None] * (end[step] - start[step])
    inside = (np.einsum("nei,ni->ne", edge[other], there) > limit[other] + INSIDE).all(axis=1)
    met = np.zeros(len(start), bool)
    met[step[inside]] = True
    for j in np.flatnonzero(level):
        if j != k:
            for points in (start, end):
                met |= (points @ edge[j].T > limit[j] + INSIDE).all(axis=1)
    return met


@dataclass(frozen=True, eq=False)
class Detours:
    """How sound gets from one source to points.

    Parameters
    ----------
    seen : ndarray of bool
        Whether the straight line is free (point,)
    detour : ndarray
        z of ``screening_loss_db`` (point,) [m]
    between : ndarray
        e of it (point,) [m]
    edges : ndarray of int
        How many edges the way bends over, or passes close to (point,), 1 or 2 [-]
    """

    seen: np.ndarray
    detour: np.ndarray
    between: np.ndarray
    edges: np.ndarray

    def kept(self, speed_of_sound):
        """Share of the energy that arrives.

        Parameters
        ----------
        speed_of_sound : float
            300 to 370 [m/s]

        Returns
        -------
        kept : ndarray
            (point, band), float32; 1 far from any edge [-]
        """
        kept = np.ones((len(self.seen), len(bands.EXACT)), np.float32)
        at = self.detour > -SLACK * GRAZING
        kept[at] = bands.to_energy(
            -screening_loss_db(
                self.detour[at],
                between=self.between[at],
                edges=self.edges[at],
                speed_of_sound=speed_of_sound,
            )
        )
        return kept


def around_and_through(origin, points, screens, speed_of_sound):
    """What arrives from one source at points: free, around edges, and through sheets.

    Parameters
    ----------
    origin : array
        The source (3,) [m]
    points : array
        (point, 3) [m]
    screens : Screens
        What may stand in the way [m]
    speed_of_sound : float
        300 to 370 [m/s]

    Returns
    -------
    seen : ndarray of bool
        Whether the straight line is free (point,)
    kept : ndarray
        Share of the energy that arrives (point, band), float32 [-]

    Sources
    -------
    ``detours`` and ``screening_loss_db``; a sheet lets through what goes straight, and the way
    around it adds to it.
    """
    ways = detours(origin, points, screens)
    seen, kept = ways.seen, ways.kept(speed_of_sound)
    for sheet, passed in screens.sheets:
        ways = detours(origin, points, sheet)
        around = ways.kept(speed_of_sound)
        around[np.isinf(ways.detour) & ~ways.seen] = 0.0
        behind = np.where(ways.seen[:, None], around, np.minimum(around + passed, 1.0))
        seen, kept = seen & ways.seen, kept * behind.astype(np.float32)
    return seen, kept


def detours(origin, points, screens):
    """The shortest ways from one source to points, over the edges of what stands between.

    Parameters
    ----------
    origin : array
        The source (3,) [m]
    points : array
        (point, 3) [m]
    screens : Screens
        What may stand in the way [m]

    Returns
    -------
    detours : Detours
        One edge or two, whichever way is the shortest; where no such way is free, an infinite
        detour over two

    Sources
    -------
    The way over an edge is shortest where it is straight once the edge is unfolded, as ISO
    9613-2:1996, eq. (16) and (17). Over two edges: one point after the other, until both stay.
    """
    origin, points = np.asarray(origin, float), np.asarray(points, float)
    count = len(points)
    found = Detours(
        np.ones(count, bool), np.full(count, -np.inf), np.zeros(count), np.ones(count, np.int64)
    )
    if not len(screens.polygons):
        return found
    found.seen[:] = in_sight(origin[None], points, screens.polygons)[0]
    if compiled.available():
        from . import screening_compiled  # slow to load

        shapes = ("normal", "offset", "edge", "edge_offset", "low", "high")
        faces = tuple(getattr(screens.polygons, name).astype(float) for name in shapes)
        edges = screens.start, screens.end, screens.owner
        taken = found.seen, found.detour, found.between, found.edges
        limits = (INSIDE, SLIT, SAME), NUDGE, LONGEST, SLACK * GRAZING
        screening_compiled.detours(origin, points, faces, edges, limits, taken)
        return found
    starts = np.broadcast_to(origin, points.shape)
    straight = np.linalg.norm(points - origin, axis=1)
    ways = [_over(starts, points, screens, e)[0] - straight for e in range(len(screens.start))]
    ways = np.array(ways).reshape(-1, count).T  # (point, edge)
    _grazing(origin, points, screens, ways, found)
    hidden = np.flatnonzero(~found.seen)
    for one, value in zip(
        (found.detour, found.between, found.edges),
        _behind(starts[hidden], points[hidden], screens, ways[hidden]),
        strict=True,
    ):
        one[hidden] = value
    return found


def _over(one, other, screens, edge):
    """Shortest ways from one to the other (line, 3) over an edge, or each over its own (line,), and
    where they meet it (line, 3).
    """
    start, whole = screens.start[edge], screens.end[edge] - screens.start[edge]
    length = np.linalg.norm(whole, axis=-1)
    along = whole / length[..., None]
    a, b = ((v - start) * along for v in (one, other))
    a, b = a.sum(axis=1), b.sum(axis=1)
    p, q = (
        np.linalg.norm(v - start - at[:, None] * along, axis=1) for v, at in ((one, a), (other, b))
    )
    at = np.clip((a * q + b * p) / np.maximum(p + q, 1e-12), 0, length)
    return np.hypot(at - a, p) + np.hypot(at - b, q), start + at[:, None] * along


def _clear(start, end, polygons):
    """Whether parts of bent ways from start to end (line, 3) are free; what ends on a screen does
    not cross it.
    """
    clear = np.ones(len(start), bool)
    for k in range(len(polygons)):
        normal, offset = polygons.normal[k].astype(float), float(polygons.offset[k])
        a, b = start @ normal - offset, end @ normal - offset
        line = np.flatnonzero(_across(a, b, SLIT) & clear)
        share = (a[line] / (a[line] - b[line]))[:, None]
        there = start[line] + share * (end[line] - start[line])
        edge, limit = polygons.edge[k].astype(float), polygons.edge_offset[k].astype(float)
        clear[line[(there @ edge.T > limit + SLIT).all(axis=1)]] = False
    return clear


def _across(a, b, least):
    """Whether lines cross a plane, from the signed distances of their ends; an end that nearly lies
    in it does not.
    """
    return ((a > 0) & (b < -least)) | ((a < 0) & (b > least))


def _grazing(origin, points, screens, ways, found):
    """Free lines that cross the plane of a screen close to its edge."""
    polygons = screens.polygons
    normal, offset = polygons.normal.astype(float), polygons.offset.astype(float)
    crosses = _across(
        normal @ origin - offset, points @ normal.T - offset, INSIDE
    )  # (point, polygon)
    near = np.where(crosses[:, screens.owner].any(axis=2), ways, np.inf)
    nearest = near.min(axis=1, initial=np.inf)
    close = found.seen & (nearest < SLACK * GRAZING)
    found.detour[close] = -nearest[close]


def _behind(starts, points, screens, ways):
    """Detour, way between and number of edges (point,) to points that are hidden.

    Over a second edge a way is longer than over either alone. So edges are tried from the shortest
    detour on, each alone and with all others, until none is left that could be shorter.
    """
    count = len(points)
    best = np.full(count, np.inf), np.zeros(count), np.full(count, 2)
    order, going = ways.argsort(axis=1, kind="stable"), np.arange(count)
    for rank in range(ways.shape[1]):
        edge = order[going, rank]
        shorter = ways[going, edge] < np.minimum(best[0][going], LONGEST)
        going, edge = going[shorter], edge[shorter]
        if not len(going):
            break
        _, bend = _over(starts[going], points[going], screens, edge)
        free = _bent_clear([starts[going], bend, points[going]], screens.polygons)
        at = going[free]
        best[0][at], best[1][at], best[2][at] = ways[at, edge[free]], 0.0, 1
        going = going[~free]
        _over_another(starts, points, screens, ways, (going, edge[~free]), best)
    return best


def _over_another(starts, points, screens, ways, going, best):
    """Take in ways of some points over an edge of each and another one, either first."""
    rows, edge = going
    other_free = ways[rows] < np.minimum(best[0][rows], LONGEST)[:, None]
    other_free[np.arange(len(rows)), edge] = False
    n, other = np.nonzero(other_free)
    at = np.tile(rows[n], 2)
    one, two = np.r_[edge[n], other], np.r_[other, edge[n]]
    start, end = starts[at], points[at]
    _, second = _over(start, end, screens, two)
    for _ in range(ROUNDS):
        _, first = _over(start, second, screens, one)
        way, second = _over(first, end, screens, two)
    detour = way + np.linalg.norm(first - start, axis=1) - np.linalg.norm(end - start, axis=1)
    gap = np.linalg.norm(first - second, axis=1)
    # without a gap it is the way over one corner, looked at as one edge
    near = np.flatnonzero((detour < np.minimum(best[0][at], LONGEST)) & (gap > SAME))
    bent = [start[near], first[near], second[near], end[near]]
    near = near[_bent_clear(bent, screens.polygons)]
    for k in near[np.argsort(-detour[near], kind="stable")]:  # the shortest of each point last
        best[0][at[k]], best[1][at[k]], best[2][at[k]] = detour[k], gap[k], 2


def _bent_clear(stops, polygons):
    """Whether bent ways are free: stops (line, 3), all but the ends moved a little outward."""
    moved = [stops[0]]
    for before, stop, after in zip(stops, stops[1:], stops[2:], strict=False):
        moved.append(stop - NUDGE * _unit(_unit(before - stop) + _unit(after - stop)))
    moved.append(stops[-1])
    clear = np.ones(len(stops[0]), bool)
    for start, end in zip(moved, moved[1:], strict=False):
        clear &= _clear(start, end, polygons)
    return clear


def _unit(v):
    """Unit vectors (line, 3); what has no length stays so."""
    return v / np.maximum(np.linalg.norm(v, axis=1, keepdims=True), STRAIGHT)
