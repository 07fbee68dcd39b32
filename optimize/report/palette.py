"""Colours by what they mean, on light and on dark ground, shared by the figures and the page of a run."""

from dataclasses import dataclass, fields

from optimize.report import style


@dataclass(frozen=True)
class Palette:
    """Colours as #rrggbb; texts have a contrast of 4.5 or more against `paper` and `panel`, marks of 3 or more.

    paper, panel : grounds. ink, soft : texts. rule, edge : fine lines, and edges of controls. feasible : samples.
    front, shop, failed, model, chosen, third : data; failed also for limits. fill : of bars. on_front : text on front.
    """

    paper: str
    panel: str
    ink: str
    soft: str
    rule: str
    edge: str
    feasible: str
    front: str
    shop: str
    failed: str
    model: str
    chosen: str
    third: str
    fill: str
    on_front: str


LIGHT = Palette(
    paper="#ffffff", panel="#f5f7f9", ink=style.INK, soft=style.SOFT, rule=style.RULE, edge="#7f8894",
    feasible=style.FEASIBLE, front=style.FRONT, shop=style.SHOP_TEXT, failed="#b93608", model="#8a5a00",
    chosen="#a3195b", third="#2f7d5b", fill=style.BAR, on_front="#ffffff",
)
DARK = Palette(
    paper="#11161d", panel="#1a212b", ink="#e8ebef", soft="#aab3bf", rule="#323c49", edge="#7c8897",
    feasible="#4d5866", front="#9cc4f0", shop="#66bdec", failed="#ff9068", model="#e6b450", chosen="#ff7eb6",
    third="#7fd0a8", fill="#4f6a86", on_front="#0f1a28",
)


def css(palette: Palette) -> str:
    """The palette as custom properties of a style sheet.

    >>> css(LIGHT)[:34]
    '--paper: #ffffff; --panel: #f5f7f9'
    """
    return "; ".join(f"--{f.name.replace('_', '-')}: {getattr(palette, f.name)}" for f in fields(palette))
