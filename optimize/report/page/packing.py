"""Data packed into a page: gzip of JSON or text in base64, the same bytes for the same data."""

import base64
import gzip
import json
import math
from typing import Any

_DIGITS = 6  # significant; the tables beside the page hold eight


def packed(text: str) -> str:
    """A text as gzip in base64, without a date in it.

    >>> gzip.decompress(base64.b64decode(packed("Grüße"))).decode()
    'Grüße'
    """
    return base64.b64encode(gzip.compress(text.encode(), compresslevel=9, mtime=0)).decode()


def compact(data: Any) -> str:
    """Data as JSON without blanks.

    >>> compact({"a": [1, None]})
    '{"a":[1,null]}'
    """
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def numbers(values: Any, digits: int = _DIGITS) -> list[float]:
    """Numbers as a page needs them: to significant digits, what is not finite as NaN.

    >>> numbers([1.23456789, float("inf"), 250000.4, 3])
    [1.23457, nan, 250000.0, 3.0]
    """
    return [float(f"{v:.{digits}g}") if math.isfinite(v) else math.nan for v in map(float, values)]
