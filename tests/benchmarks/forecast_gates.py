"""Prints how our forecast does beside the fixed methods, on drawn panels and on real data, as one table.

Not a test (those are in tests/forecast/test_gates.py, with margins): `.venv/bin/python
tests/benchmarks/forecast_gates.py`. With statsforecast installed (`pip install .[bench]`) the real data is
forecast by that library's own functions too; without it by the same methods of ours, which agree with it.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks import panels
from vanstock.forecast import candidates, smoothers
from vanstock.forecast.candidates import CANDIDATES, Candidate
from vanstock.forecast.choose import SERVICE, pinball
from vanstock.forecast.spread import interval_quantile

Array = NDArray[np.float64]
ORIGINS = (92, 96, 100, 104)
GRID = tuple(step / 200 for step in range(1, 200))
WEEKS_AHEAD = 2


class RateError(NamedTuple):
    """Relative root mean squared error of the mean week: ours, and of each fixed candidate."""

    ours: float
    fixed: dict[Candidate, float]

    @property
    def best(self) -> Candidate:
        """The fixed candidate that did best, known only afterwards."""
        return min(self.fixed, key=lambda candidate: self.fixed[candidate])


def rate_error(kind: str, seed: int) -> RateError:
    """The error of the mean week at four times near the end, our choice made anew at each."""
    found = panels.panel(kind, seed)
    still = kind in ("stationary", "level change")
    ours, fixed = [], []
    for end in ORIGINS:
        truth = found.rate[:, end - 1]
        scale = truth if still else found.rate.mean(axis=1)
        paths = candidates.rates(found.need[:, :end])[:, :, -1]
        mean = np.array([one.weekly_mean for one in panels.forecasts(found.need[:, :end], WEEKS_AHEAD, (0.5,))])
        ours.append((((mean - truth) / scale) ** 2).mean())
        fixed.append((((paths - truth) / scale) ** 2).mean(axis=1))
    errors = np.sqrt(np.mean(fixed, axis=0))
    kept = {c: float(e) for c, e in zip(CANDIDATES, errors, strict=True) if c.method != "pair"}
    return RateError(float(np.sqrt(np.mean(ours))), kept)


def transforms(kind: str, seed: int) -> Array:
    """The randomised probability integral transform of what came after the panel's last forecast."""
    need = panels.panel(kind, seed).need
    actual = need[:, -WEEKS_AHEAD:].sum(axis=1)
    found = panels.forecasts(need[:, :-WEEKS_AHEAD], WEEKS_AHEAD, GRID)
    quantiles = np.array([[one.quantiles[p] for p in GRID] for one in found])
    upto = (quantiles <= actual[:, None]).mean(axis=1)
    below = np.where(actual > 0, (quantiles <= actual[:, None] - 1).mean(axis=1), 0.0)
    dice = np.random.default_rng(seed)
    found_at: Array = below + dice.random(len(actual)) * (upto - below)
    return found_at


def evenness(transform: Array) -> float:
    """Chi-squared probability of ten equal bins being as uneven as these."""
    from scipy.stats import chisquare

    return float(chisquare(np.histogram(transform, 10, (0, 1))[0]).pvalue)


Method = Callable[[Array], Array]


def peers() -> dict[str, Method]:
    """The usual methods at their usual constants, each from needs (series, weeks) to mean weeks (series,)."""
    one = np.array([0.1])
    ours: dict[str, Method] = {
        "history mean": lambda y: y.mean(axis=1),
        "SES 0.1": lambda y: smoothers.simple(y, one)[0, :, -1],
        "Croston 0.1": lambda y: smoothers.croston(y, one)[0, :, -1],
        "SBA 0.1": lambda y: smoothers.sba(y, one)[0, :, -1],
        "TSB 0.1": lambda y: smoothers.tsb(y, np.array([[0.1, 0.1]]))[0, :, -1],
    }
    try:
        from statsforecast import models
    except ImportError:
        return ours

    def theirs(model: object) -> Method:
        def run(y: Array) -> Array:
            made = [model.forecast(row.astype(np.float32), h=1)["mean"][0] for row in y]  # type: ignore[attr-defined]
            positive: Array = np.maximum(np.array(made, dtype=float), 0.0)
            return positive

        return run

    return {
        "history mean": ours["history mean"],
        "SES 0.1": theirs(models.SimpleExponentialSmoothing(0.1)),
        "SES optimised": theirs(models.SimpleExponentialSmoothingOptimized()),
        "Croston 0.1": theirs(models.CrostonClassic()),
        "Croston optimised": theirs(models.CrostonOptimized()),
        "SBA 0.1": theirs(models.CrostonSBA()),
        "TSB 0.1": theirs(models.TSB(0.1, 0.1)),
        "ADIDA": theirs(models.ADIDA()),
    }


def losses(need: Array, origins: tuple[int, ...], ahead: int) -> dict[str, Array]:
    """Mean pinball loss at the service quantiles of each series, of ours and of each peer, by name.

    A peer's mean week is given the spread that suits it better: Poisson, or the negative binomial with the
    variance of the series' own past weeks.
    """
    found: dict[str, list[Array]] = {}
    for origin in origins:
        past, actual = need[:, :origin], need[:, origin : origin + ahead].sum(axis=1)
        ours = panels.forecasts(past, ahead, SERVICE)
        found.setdefault("ours", []).append(_loss(actual, [np.array([o.quantiles[p] for o in ours]) for p in SERVICE]))
        for name, method in peers().items():
            mean = method(past) * ahead
            for kind, variance in (("Poisson", mean), ("own variance", np.maximum(past.var(axis=1) * ahead, mean))):
                quantiles = [interval_quantile(mean, variance, p, measured=False) for p in SERVICE]
                found.setdefault(f"{name}, {kind}", []).append(_loss(actual, quantiles))
    return {name: np.mean(parts, axis=0) for name, parts in found.items()}


def _loss(actual: Array, quantiles: list[Array]) -> Array:
    every = [pinball(actual, quantile, p) for quantile, p in zip(quantiles, SERVICE, strict=True)]
    mean: Array = np.mean(every, axis=0)
    return mean


def interval(difference: Array, seed: int = 1) -> tuple[float, float]:
    """The middle 95 % of the mean of some paired differences, by bootstrap over series."""
    dice = np.random.default_rng(seed)
    means = [difference[dice.integers(0, len(difference), len(difference))].mean() for _ in range(2_000)]
    low, high = np.quantile(means, [0.025, 0.975])
    return float(low), float(high)


def month_losses(ahead: int = 1) -> dict[str, Array]:
    """The same on the monthly series J06, each origin's loss taken as one of a sample."""
    need = panels.j06()
    every = [losses(need, (origin,), ahead) for origin in range(60, need.shape[1] - ahead, 2)]
    return {name: np.array([one[name][0] for one in every]) for name in every[0]}


CDNOW_ORIGINS = (40, 46, 52, 58, 64, 70, 76)


def main() -> None:
    """Print the whole table."""
    print("mean week: relative error; the best fixed method is known only afterwards")
    print(
        f"{'panel':14}{'ours':>8}{'SBA 0.1':>9}{'mean':>8}{'best fixed':>26}{'ours/best':>11}{'95% holds':>11}"
        f"{'PIT p':>8}"
    )
    for kind in (*panels.KINDS, "mixed"):
        found, transform = rate_error(kind, 1), transforms(kind, 1)
        sba, mean = found.fixed[Candidate("SBA", (0.1,))], found.fixed[Candidate("mean")]
        best = f"{found.best.method} {'/'.join(map(str, found.best.constants))}"
        print(
            f"{kind:14}{found.ours:8.3f}{sba:9.3f}{mean:8.3f}{best:>18}{found.fixed[found.best]:8.3f}"
            f"{found.ours / found.fixed[found.best]:11.2f}{(transform <= 0.95).mean():11.3f}{evenness(transform):8.3f}"
        )
    for title, result in (
        ("CDNOW, 958 series, 2 weeks ahead", losses(panels.cdnow(), CDNOW_ORIGINS, WEEKS_AHEAD)),
        ("J06, monthly, 1 month ahead", month_losses()),
    ):
        print(f"\n{title}: mean pinball loss at .5 .8 .9 .95, and ours less theirs (95 % bootstrap interval)")
        for name, loss in sorted(result.items(), key=lambda pair: pair[1].mean()):
            low, high = interval(result["ours"] - loss)
            print(f"  {name:34}{loss.mean():9.4f}   {(result['ours'] - loss).mean():+.4f} ({low:+.4f} {high:+.4f})")


if __name__ == "__main__":
    main()
