"""Log-normal times: guesses, learning, what is left of a running one, sums."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri, stdtr, stdtrit

from portraitq.forecast.draws import normals
from portraitq.forecast.lognormal import LogTime, from_guesses, mean_of_several, rest_of_stage, spread, sum_of

FROM_380 = (391, 352, 455, 318, 402, 371, 498, 340)
Z = 1.2815515655446004


# three guesses, computed with scipy 1.17.1: symmetric sigma about the stated median (ln(slow/quick) / 2z)
@pytest.mark.parametrize(
    ("guesses", "sigma", "worst"),
    [
        ((60, 100, 180), 0.4286259, 0.06),
        ((240, 380, 640), 0.3826726, 0.06),
        ((60, 110, 200), 0.4697325, 0.06),
        ((40, 70, 150), 0.5156858, 0.12),
    ],
)
def test_three_guesses_are_met_closely(guesses, sigma, worst):
    mu, found = from_guesses(*guesses)

    met = np.exp(mu + found * np.array([-Z, 0, Z]))
    assert found == pytest.approx(sigma, abs=1e-6)
    assert np.all(np.abs(met / np.array(guesses) - 1) < worst)


def test_three_equal_guesses_still_give_a_little_spread():
    _, sigma = from_guesses(60, 60, 60)

    assert sigma > 0


def learned() -> LogTime:
    known = LogTime(3, math.log(380), 2, 0.30)
    for seconds in FROM_380:
        known = known.learn(math.log(seconds))
    return known


def test_learning_is_the_conjugate_one():
    known = learned()

    # Gelman et al., Bayesian Data Analysis, 3rd ed., §3.3; the figures computed a second way on a grid
    assert (known.kappa, known.alpha) == (11, 6)
    assert known.mu == pytest.approx(5.9534001038, abs=1e-9)
    assert known.beta == pytest.approx(0.3790823730, abs=1e-9)
    assert known.scale == pytest.approx(0.2625339365, abs=1e-9)


def test_the_variance_expected_after_learning():
    known = learned()

    assert known.beta / (known.alpha - 1) == pytest.approx(0.0758164746, abs=1e-9)  # a grid over (mu, ln sigma²) agrees


def test_what_is_predicted_next_is_a_student_t_of_the_log():
    known = learned()

    # scipy.stats.t quantiles with 12 degrees of freedom
    levels = np.array([0.05, 0.1, 0.5, 0.85, 0.9, 0.95])
    quantiles = np.exp(known.mu + known.scale * stdtrit(2 * known.alpha, levels))
    assert quantiles == pytest.approx([241.1669, 269.7099, 385.0604, 511.7212, 549.7443, 614.8086], abs=1e-3)
    chance = stdtr(2 * known.alpha, (math.log(600) - known.mu) / known.scale)
    assert chance == pytest.approx(0.9415350891, abs=1e-8)


def test_the_scenarios_of_what_is_known_spread_like_that_student_t():
    known, n = learned(), 200_000
    chance = normals("student", 3, n)

    mu, sigma = known.world(chance[0], chance[1])

    drawn = np.sort(np.exp(mu + sigma * chance[2]))
    for level, expected in ((0.05, 241.1669), (0.5, 385.0604), (0.85, 511.7212), (0.95, 614.8086)):
        # 4 standard errors of the level, and 1 % for the cube-root normal in place of the gamma (Wilson & Hilferty)
        assert np.searchsorted(drawn, expected) / n == pytest.approx(level, abs=4 * math.sqrt(0.25 / n) + 0.003)


def test_the_spreads_factor_is_that_of_an_inverse_gamma():
    z = normals("gamma", 1, 200_000)[0]

    gamma = 6 / np.square(spread(6.0, z))

    assert gamma.mean() == pytest.approx(6, rel=0.01)
    assert gamma.var() == pytest.approx(6, rel=0.03)


def test_fading_keeps_what_is_expected_and_only_makes_it_less_sure():
    known = learned()

    faded = known.fade(0.5)

    assert faded.mu == known.mu
    assert faded.kappa < known.kappa
    assert faded.beta / (faded.alpha - 1) == pytest.approx(known.beta / (known.alpha - 1))


# inversion on the log of the upper tail; means agree with numeric integration of scipy's survival function
@pytest.mark.parametrize(
    ("median", "sigma", "ran_s", "mean", "q10", "q50", "q90"),
    [
        (380, 0.5, 0, 430.59641, 200.21574, 380, 721.22203),
        (380, 0.5, 300, 227.13063, 28.90581, 166.45695, 500.23692),
        (380, 0.5, 600, 210.24046, 21.67484, 142.33620, 483.64685),
        (380, 0.5, 1200, 242.55971, 24.01023, 160.85108, 563.05191),
        (100, 0.4288, 180, 42.67707, 4.44163, 29.18110, 98.15459),
    ],
)
def test_what_is_left_of_a_stage_given_how_long_it_runs(median, sigma, ran_s, mean, q10, q50, q90):
    middles = (np.arange(200_000) + 0.5) / 200_000

    rest = rest_of_stage(np.array([0.1, 0.5, 0.9]), ran_s, math.log(median), sigma)
    every = rest_of_stage(middles, ran_s, math.log(median), sigma)

    assert rest == pytest.approx([q10, q50, q90], abs=1e-4)
    assert every.mean() == pytest.approx(mean, rel=1e-4)  # the midpoint rule's own error in the upper tail


def test_a_stage_that_runs_late_is_expected_to_run_later():
    left = [
        rest_of_stage(np.linspace(0, 1, 20_001)[:-1], ran_s, math.log(380), 0.5).mean() for ran_s in (300, 600, 1200)
    ]

    assert left[1] < left[0]
    assert left[1] < left[2]  # a log-normal's mean rest falls and then rises: the three rows above


@given(
    ran_s=st.floats(0, 1e7),
    mu=st.floats(0, 9),
    sigma=st.floats(0.02, 2),
    u=st.floats(0, 1, exclude_max=True),
)
def test_what_still_runs_is_never_done(ran_s, mu, sigma, u):
    rest = rest_of_stage(np.array([u]), ran_s, mu, sigma)

    assert np.all(rest > 0)
    assert np.all(np.isfinite(rest))


@pytest.mark.parametrize(("ran_s", "sigma"), [(-1.0, 0.5), (math.nan, 0.5), (1.0, 0.0), (1.0, math.nan)])
def test_a_rest_of_nonsense_is_refused(ran_s, sigma):
    with pytest.raises(ValueError, match="must be"):
        rest_of_stage(np.array([0.5]), ran_s, 5.0, sigma)


def test_a_sum_of_stages_by_its_mean_and_variance():
    # Fenton 1960, IRE Trans. Commun. Syst. 8:57–67 (from memory)
    mu, sigma = sum_of(np.log([100, 380, 110]), np.array([0.43, 0.38, 0.47]))

    mean = math.exp(mu + sigma**2 / 2)
    assert mean == pytest.approx(640.9823984, rel=1e-6)
    assert mean**2 * math.expm1(sigma**2) == pytest.approx(32090.6784, rel=1e-6)
    assert sigma == pytest.approx(0.2742374529, rel=1e-6)
    assert math.exp(mu) == pytest.approx(617.3270243, rel=1e-6)


def test_the_quantiles_of_a_sum_and_how_far_they_are_off():
    mu, sigma = sum_of(np.log([100, 380, 110]), np.array([0.43, 0.38, 0.47]))

    found = np.exp(mu + sigma * ndtri([0.05, 0.1, 0.5, 0.85, 0.9, 0.95, 0.99]))

    # Fenton–Wilkinson's own, computed with scipy; beside them the truth by 2·10⁷ draws (± 0.3 s, at 99 % ± 1 s)
    assert found == pytest.approx([393.20, 434.39, 617.33, 820.27, 877.30, 969.21, 1168.38], abs=0.01)
    off = found / np.array([398.70, 438.25, 615.24, 816.79, 875.00, 970.03, 1183.57]) - 1
    assert np.all(np.abs(off[2:6]) < 0.005)
    assert off[[0, 6]] == pytest.approx([-0.014, -0.013], abs=0.001)


def test_moments_of_a_log_normal_time():
    # median 380 s, sigma 0.5: mean 430.5964122, variance 52662.08132, by scipy's lognorm; a sum of four such adds them
    for many in (1, 4):
        mu, sigma = sum_of(np.log(np.full(many, 380.0)), np.full(many, 0.5))

        mean = math.exp(mu + sigma**2 / 2)
        assert mean == pytest.approx(many * 430.5964122, rel=1e-6)
        assert mean**2 * math.expm1(sigma**2) == pytest.approx(many * 52662.08132, rel=1e-6)


def test_several_sitters_spread_less_than_one_and_keep_the_mean():
    shift, sigma = mean_of_several(0.4, 3)

    assert sigma < 0.4
    assert shift + sigma**2 / 2 == pytest.approx(0.4**2 / 2)
