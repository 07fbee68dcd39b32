"""What the figures of one core's copies show: the cloud in the plane of the objectives, and what share keeps what."""

from dataclasses import dataclass

import numpy as np

from optimize.report.columns import column, requirement_words, words
from optimize.report.copy_data import EVERY_LIMIT, Share, Spread, kinds_of, rows_of, share_of, texts
from optimize.report.figure_data import CopyCloud, LimitLine, limit_lines, matrix, objective_titles, outline, padded
from optimize.runs import Run
from physics.arrays import Array

MODEL = "model"


@dataclass(frozen=True)
class Cloud:
    """Copies of one kind of scatter; P05, P50, P95 of each of k objectives; the share that meets everything.

    What the tables do not tell is None. The model's draws have no share: they are one unknown truth.
    """

    kind: str
    copies: CopyCloud
    spreads: tuple[Spread | None, ...]
    share: Share | None


@dataclass(frozen=True)
class CloudData:
    """One core's clouds by kind of scatter in the plane of k objectives.

    `near` (k, 2): view for what scatters; `wide` (k, 2): for what nobody knows yet.
    """

    core: str
    titles: tuple[str, ...]
    clouds: tuple[Cloud, ...]
    nominal: Array | None
    limits: tuple[LimitLine, ...]
    near: Array
    wide: Array


def cloud_data(run: Run, core: str | None = None) -> CloudData:
    """Clouds of a core (the table's first, if not told); the core as drawn from the table of the front, if any."""
    table, titles = run.tables["clouds"], objective_titles(run)
    core = core or texts(table, "core")[0]
    own = rows_of(table, core=core)
    nominal = _nominal(run, core, titles)
    clouds = []
    for kind in dict.fromkeys(texts(own, "scatter")):
        rows = rows_of(own, scatter=kind)
        values = matrix(rows, titles)
        sound = np.all(np.isfinite(values), axis=1)
        met = rows["met"].to_numpy(dtype=bool)[sound]
        copies = CopyCloud(core, np.full(len(titles), np.nan) if nominal is None else nominal, values[sound], met)
        share = None if kind == MODEL or "yield" not in run.tables else share_of(run, core, kind)
        clouds.append(Cloud(kind, copies, tuple(_spread(run, core, kind, t) for t in titles), share))
    near, wide = _view([cloud for cloud in clouds if cloud.kind != MODEL] or clouds, nominal), _view(clouds, nominal)
    return CloudData(core, titles, tuple(clouds), nominal, limit_lines(run, titles, near), near, wide)


def _nominal(run: Run, core: str, titles: tuple[str, ...]) -> Array | None:
    if "front" not in run.tables:
        return None
    rows = rows_of(run.tables["front"], core=core)
    return matrix(rows, titles)[0] if len(rows) else None


def _spread(run: Run, core: str, kind: str, title: str) -> Spread | None:
    c = column(title)
    rows = rows_of(run.tables["percentiles"], core=core, scatter=kind, output=c.name, duty=c.at or "")
    found = dict(zip(texts(rows, "statistic"), rows["value"].astype(float), strict=True))
    return Spread(*(found[name] for name in ("P05", "P50", "P95"))) if "P05" in found else None


def _view(clouds: list[Cloud], nominal: Array | None) -> Array:
    """Low and high of each objective (k, 2), so that copies, boxes and outlines are inside."""
    parts = [cloud.copies.values for cloud in clouds] + ([nominal[None]] if nominal is not None else [])
    for cloud in clouds:
        k = cloud.copies.values.shape[1]
        middle = cloud.copies.values.mean(axis=0)
        parts += [
            np.array([m if s is None else getattr(s, end) for m, s in zip(middle, cloud.spreads, strict=True)])[None]
            for end in ("low", "high")
        ]
        for i in range(k - 1) if cloud.kind == MODEL else ():
            edge = outline(cloud.copies.values[:, [i, i + 1]])
            full = np.tile(middle, (len(edge), 1))
            full[:, [i, i + 1]] = edge
            parts.append(full)
    return padded(np.concatenate(parts))


@dataclass(frozen=True)
class RequirementRow:
    """A requirement in words, at a duty point (in words; empty for the core or all of them), and its share by kind."""

    requirement: str
    duty: str
    shares: dict[str, Share]


@dataclass(frozen=True)
class RequirementData:
    """Shares of one core's copies that meet each requirement; `kept`: those that every copy met, in words."""

    core: str
    kinds: tuple[str, ...]
    rows: tuple[RequirementRow, ...]
    kept: tuple[str, ...]
    kept_low: float
    draws: int
    confidence: float


def requirement_data(run: Run, core: str | None = None) -> RequirementData:
    """Every limit first, then what some copy missed, most missed first, each with its duty points."""
    table = run.tables["yield"]
    core = core or texts(table, "core")[0]
    own = rows_of(table, core=core)
    kinds = kinds_of(run)
    missed: list[tuple[float, list[RequirementRow]]] = []
    kept, lows = [], []
    for name in dict.fromkeys(texts(own, "requirement")):
        rows = [_requirement_row(run, core, kinds, name, duty)
                for duty in dict.fromkeys(texts(rows_of(own, requirement=name), "duty"))]
        least = min(share.value for row in rows for share in row.shares.values())
        if name == EVERY_LIMIT or least < 100:
            missed.append((-1.0 if name == EVERY_LIMIT else least, rows))
        else:
            kept.append(requirement_words(name))
            lows += [share.low for share in rows[0].shares.values()]
    missed.sort(key=lambda found: found[0])
    return RequirementData(
        core, kinds, tuple(row for _, rows in missed for row in rows), tuple(kept), min(lows, default=100.0),
        int(own["draws"].max()), float(run.record["scatter"]["confidence"]),
    )


def _requirement_row(run: Run, core: str, kinds: tuple[str, ...], name: str, duty: str) -> RequirementRow:
    found = {kind: share_of(run, core, kind, name, duty) for kind in kinds}
    shares = {kind: share for kind, share in found.items() if share is not None}
    return RequirementRow(requirement_words(name), words(duty), shares)
