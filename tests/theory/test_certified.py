"""Means and spreads as the forecast learns them, against values certified to 15 digits.

NIST Statistical Reference Datasets, univariate summary statistics (itl.nist.gov/div898/strd/univ). A time that is known
by nothing but what was measured (no weight on any guess) has the mean and the standard deviation of those times.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import stdtrit

from portraitq.forecast.lognormal import LogTime
from tests.theory.reference import nist

NOTHING_KNOWN = LogTime(kappa=0.0, mu=0.0, alpha=-0.5, beta=0.0)  # the reference prior: Gelman et al., §3.2


def learned(values: list[float]) -> LogTime:
    """What is known after `values` and nothing else; they stand for logs of times."""
    known = NOTHING_KNOWN
    for value in values:
        known = known.learn(value)
    return known


def mean_and_sd(values: list[float]) -> tuple[float, float]:
    known = learned(values)
    return known.mu, math.sqrt(known.beta / known.alpha)


def digits_of_pi(many: int) -> list[float]:
    """The leading 3 counted; Machin 1706: π/4 = 4 arctan 1/5 − arctan 1/239, in whole numbers."""
    one = 10 ** (many + 10)

    def arctan_of_one_over(x: int) -> int:
        term = total = one // x
        n, sign = 3, -1
        while term:
            term //= x * x
            total += sign * (term // n)
            n, sign = n + 2, -sign
        return total

    found = 4 * (4 * arctan_of_one_over(5) - arctan_of_one_over(239))
    leading, rest = divmod(found, 10 ** (many // 2))  # Python prints no more than 4300 digits at once
    return [float(digit) for digit in f"{leading}{rest:0{many // 2}}"[:many]]


def zigzag(middle: float, low: float, high: float) -> list[float]:
    return [middle] + [low, high] * 500


@pytest.mark.parametrize(
    ("name", "mean", "sd", "near_sd"),
    [
        ("michelso", 299.852400000000, 0.0790105478190518, 1e-12),
        ("lew", -177.435000000000, 277.332168044316, 1e-12),
        ("lottery", 518.958715596330, 291.699727470969, 1e-12),
        ("mavro", 2.00185600000000, 0.000429123454003053, 1e-10),
    ],
)
def test_measured_data_have_their_certified_mean_and_spread(name, mean, sd, near_sd):
    assert mean_and_sd(nist(name)) == (pytest.approx(mean, rel=1e-12), pytest.approx(sd, rel=near_sd))


# constructed to break sums of squares: the spread lies in the last of many digits
@pytest.mark.parametrize(
    ("values", "mean", "sd", "near_sd"),
    [
        ([10000001.0, 10000003.0, 10000002.0], 10000002, 1, 1e-12),  # NumAcc1
        (zigzag(1.2, 1.1, 1.3), 1.2, 0.1, 1e-12),  # NumAcc2
        (zigzag(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 1e-8),  # NumAcc3
        (zigzag(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-7),  # NumAcc4
    ],
)
def test_numbers_with_many_digits_in_common_have_their_certified_mean_and_spread(values, mean, sd, near_sd):
    assert mean_and_sd(values) == (pytest.approx(mean, rel=1e-12), pytest.approx(sd, rel=near_sd))


def test_a_running_sum_of_squares_would_not_have_kept_that_spread():
    values = np.array(zigzag(10000000.2, 10000000.1, 10000000.3))

    one_pass = (np.sum(values**2) - len(values) * values.mean() ** 2) / (len(values) - 1)

    assert one_pass < 0  # what learning value by value must not do, and does not: see above


def test_digits_of_pi_have_their_certified_mean_and_spread():
    digits = digits_of_pi(5000)
    assert digits[956] == 8
    digits[956] = 3  # as the certified data set has it, though π has 8

    assert mean_and_sd(digits) == (
        pytest.approx(4.53480000000000, rel=1e-12),
        pytest.approx(2.86733906028871, rel=1e-12),
    )


def test_with_no_guess_at_all_the_next_time_is_predicted_as_in_textbooks():
    known = learned([math.log(seconds) for seconds in (391, 352, 455, 318, 402, 371, 498, 340)])

    quantiles = np.exp(known.mu + known.scale * stdtrit(2 * known.alpha, [0.05, 0.5, 0.95]))

    # mean ± t₇ · sd · √(1 + 1/8) of the logs, from memory: Gelman et al., Bayesian Data Analysis, 3rd ed., §3.2
    assert quantiles == pytest.approx([286.2856, 386.9753, 523.0787], abs=1e-3)


# Φ-quantile of the sample's own mean and sd keeps t_cdf(z / √(1 + 1/n), n − 1) of its promises, computed with scipy
@pytest.mark.parametrize(("n", "plugged_in"), [(3, 0.767933), (8, 0.819478), (20, 0.837747)])
def test_a_promise_from_few_times_is_kept_as_often_as_it_says(n, plugged_in):
    runs = 8000
    logs = np.random.default_rng(np.random.SFC64(n)).normal(6.0, 0.4, (runs, n + 1))
    kept = kept_plugged_in = 0

    for *seen, came in logs.tolist():
        known = learned(seen)
        kept += came <= known.mu + known.scale * stdtrit(2 * known.alpha, 0.85)
        kept_plugged_in += came <= known.mu + 1.0364333894937898 * math.sqrt(known.beta / known.alpha)

    assert kept / runs == pytest.approx(0.85, abs=4 * math.sqrt(0.85 * 0.15 / runs))
    off = 4 * math.sqrt(plugged_in * (1 - plugged_in) / runs)
    assert kept_plugged_in / runs == pytest.approx(plugged_in, abs=off)
