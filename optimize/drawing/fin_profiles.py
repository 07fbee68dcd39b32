"""Fins by their family, as outlines in millimetres: across the flow (with the plates) and along it.

Across: u over the width, v over the spacing b; walls a pitch apart, joined in turn at top and bottom.
Along: u with the flow, v across; walls a pitch apart, cut at half height.
"""

from math import ceil, cos, isfinite, pi, radians, sin

from optimize.drawing.core_shape import Fins
from optimize.drawing.primitives import Point, box

Polyline = tuple[Point, ...]
_WAVE_STEPS = 24  # in one wave length


def has_walls(fins: Fins) -> bool:
    """False for an open passage."""
    return isfinite(fins.pitch) and isfinite(fins.thickness)


def is_strip(fins: Fins) -> bool:
    """True where the fin is cut into strips, each set off by half a pitch."""
    return isfinite(fins.strip_length)


def across(fins: Fins, width: float, offset: float = 0.0) -> list[Polyline]:
    """Solid outlines of walls and of the bends that join them, from u = 0 to `width`."""
    if not has_walls(fins):
        return []
    p, t, b = fins.pitch, fins.thickness, fins.spacing
    found, k = [], 0
    while (u := offset + k * p) + t <= width + 1e-9:
        found.append(box(u, 0.0, u + t, b))
        end = min(u + p, width)
        if end > u + t:
            low = 0.0 if k % 2 else b - t
            found.append(box(u + t, low, end, low + t))
        k += 1
    return found


def wave_line(fins: Fins, start: float, end: float) -> Polyline:
    """The fin as one thin line from u = start towards end, for a view to a small scale."""
    points: list[Point] = []
    for k in range(int((end - start) / fins.pitch + 1e-9) + 1):
        u = start + k * fins.pitch
        ends = (0.0, fins.spacing) if k % 2 == 0 else (fins.spacing, 0.0)
        points += [(u, ends[0]), (u, ends[1])]
    return tuple(points)


def behind(fins: Fins, width: float) -> list[Polyline]:
    """What else is seen looking with the flow: the next row of strips, louvers standing out, the crests of waves."""
    if not has_walls(fins):
        return []
    if is_strip(fins):
        return across(fins, width, fins.pitch / 2)[::2]
    reach, height = 0.0, fins.spacing - 2 * fins.thickness
    if fins.family == "louver":
        reach, height = fins.louver_pitch * sin(radians(fins.louver_angle)), fins.louver_length
    elif fins.family == "wavy":
        reach = 2 * fins.wave_amplitude
    if not reach:
        return []
    middles = [k * fins.pitch + fins.thickness / 2 for k in range(int(width / fins.pitch) + 1)]
    low, side = (fins.spacing - height) / 2, reach / 2
    return [box(u - side, low, u + side, low + height) for u in middles if side <= u <= width - side]


def along(fins: Fins, length: float, width: float) -> list[Polyline]:
    """The walls seen from above, cut at half height, solid outlines within length x width."""
    if not has_walls(fins):
        return []
    rows = [row * fins.pitch for row in range(int(width / fins.pitch) + 2)]
    if fins.family == "wavy":
        return [_wave(fins, v, length) for v in rows if v + 2 * fins.wave_amplitude + fins.thickness <= width]
    if fins.family == "louver":
        return [blade for v in rows for blade in _louvers(fins, v, length) if max(y for _, y in blade) <= width]
    if is_strip(fins):
        return [strip for v in rows for strip in _strips(fins, v, length) if strip[2][1] <= width]
    return [box(0.0, v, length, v + fins.thickness) for v in rows if v + fins.thickness <= width]


def _strips(fins: Fins, v: float, length: float) -> list[Polyline]:
    found = []
    for i in range(ceil(length / fins.strip_length)):
        low = v + (fins.pitch / 2 if i % 2 else 0.0)
        end = min((i + 1) * fins.strip_length, length)
        found.append(box(i * fins.strip_length, low, end, low + fins.thickness))
    return found


def _louvers(fins: Fins, v: float, length: float) -> list[Polyline]:
    """Louvers about the wall's line; they turn over once, half way."""
    half, t = fins.louver_pitch / 2, fins.thickness / 2
    count = int(length / fins.louver_pitch)
    middle = v + half * sin(radians(fins.louver_angle)) + t
    found = []
    for i in range(count):
        angle = radians(fins.louver_angle) * (1 if i < count / 2 else -1)
        u, along_, over = (i + 0.5) * fins.louver_pitch, (cos(angle), sin(angle)), (-sin(angle), cos(angle))
        corners = ((-half, -t), (half, -t), (half, t), (-half, t))
        found.append(tuple((u + a * along_[0] + b * over[0], middle + a * along_[1] + b * over[1]) for a, b in corners))
    return found


def _wave(fins: Fins, v: float, length: float) -> Polyline:
    steps = max(int(length / fins.wave_length * _WAVE_STEPS), 2)
    low = [
        (length * i / steps, v + fins.wave_amplitude * (1 - cos(2 * pi * length * i / steps / fins.wave_length)))
        for i in range(steps + 1)
    ]
    return tuple(low + [(u, y + fins.thickness) for u, y in reversed(low)])
