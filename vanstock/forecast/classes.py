"""Demand classes of Syntetos, Boylan and Croston (JORS 56, 2005, 495-503). Pure; numpy inside.

ADI is the number of weeks divided by the number of weeks with need; CV2 is the squared coefficient of
variation of the needs that are not zero, with the population standard deviation. Cut-offs 1.32 and 0.49.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

ADI_CUT = 1.32
CV2_CUT = 0.49


def interval_and_variation(need: NDArray[np.float64]) -> tuple[float, float]:
    """(ADI, CV2) of one series of weekly needs; (inf, 0) for one that was never needed."""
    import numpy as np

    sizes = need[need > 0]
    if not len(sizes):
        return float("inf"), 0.0
    return len(need) / len(sizes), float(np.var(sizes) / np.mean(sizes) ** 2)


def demand_class(need: NDArray[np.float64]) -> str:
    """smooth, erratic, intermittent or lumpy; "none" for a part never needed."""
    adi, cv2 = interval_and_variation(need)
    if adi == float("inf"):
        return "none"
    if adi < ADI_CUT:
        return "smooth" if cv2 < CV2_CUT else "erratic"
    return "intermittent" if cv2 < CV2_CUT else "lumpy"
