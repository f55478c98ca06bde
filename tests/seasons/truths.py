"""Named truths: booths that differ from what the forecast takes for granted, each in its own way."""

from __future__ import annotations

from tests.seasons.laws import Length
from tests.seasons.truth import ArtistTruth, StageTruth, StyleTruth, Truth


def _style(id: str, share: float = 1.0, guess: float = 1.0, from_day: int = 0, **stages: float) -> StyleTruth:
    """Stages by mean seconds, underscores as dashes; block-in, dress and finish are done once for all sitters."""
    once = {"block_in", "dress", "finish"}
    built = tuple(StageTruth(name.replace("_", "-"), s, per_sitter=name not in once) for name, s in stages.items())
    return StyleTruth(id, built, share, guess_factor=guess, from_day=from_day)


def _ink(**how: float) -> StyleTruth:
    return _style("ink-head", **{"layout": 110, "likeness": 390, "finish": 120, **how})  # type: ignore[arg-type]


def _chalk(**how: float) -> StyleTruth:
    return _style("chalk-half", **{"block_in": 260, "features": 420, "tone": 520, "finish": 150, **how})  # type: ignore[arg-type]


def _brush(**how: float) -> StyleTruth:
    stages = {"block_in": 95, "features": 290, "face_tone": 170, "mirror": 75, "dress": 110, "finish": 60}
    return _style("brush-head", **{**stages, **how})  # type: ignore[arg-type]


def _pet(**how: float) -> StyleTruth:
    return _style("pet-pencil", **{"layout": 200, "fur": 700, "eyes": 220, "dress": 180, "finish": 90, **how})  # type: ignore[arg-type]


INK, CHALK, BRUSH, PET = _ink(), _chalk(), _brush(), _pet()
ALL = ("ink-head", "chalk-half", "brush-head", "pet-pencil")
SOLO = (ArtistTruth("a1", ALL),)
LUNCH = ((12.5, 13.0),)
UNTIDY_PAUSES = (("supplies", 0.15), ("sitter", 0.12), ("other", 0.12))

TRUTHS: dict[str, Truth] = {
    truth.name: truth
    for truth in (
        Truth("calm-solo", (INK, BRUSH, CHALK), SOLO, cv=0.3, visitors_a_day=27),
        Truth("gamma-days", (INK, CHALK, BRUSH), SOLO, law="gamma", cv=0.45, day_sd=0.22, sketch_sd=0.12),
        Truth(
            "weibull-sketches",
            (BRUSH, CHALK, PET),
            (ArtistTruth("a1", ALL, pace=0.85, breaks=LUNCH),),
            law="weibull",
            cv=0.35,
            sketch_sd=0.28,
            two_sitters=0.15,
        ),
        Truth(
            "bimodal-faces",
            (INK, BRUSH, CHALK),
            SOLO,
            law="bimodal",
            cv=0.5,
            hard_share=0.25,
            hard_times=2.0,
            sketch_sd=0.12,
            effect="two-point",
            guess_spread=0.6,
        ),
        Truth(
            "strong-days",
            (INK, BRUSH, CHALK),
            SOLO,
            cv=0.3,
            day_sd=0.3,
            pauses_per_h=UNTIDY_PAUSES,
        ),
        Truth(
            "drift-and-step",
            (INK, CHALK, BRUSH),
            SOLO,
            law="gamma",
            cv=0.35,
            drift_per_day=-0.012,
            step_day=12,
            step=1.35,
            day_sd=0.08,
            sketch_sd=0.1,
        ),
        Truth(
            "forgotten-taps",
            (BRUSH, PET, CHALK),
            (ArtistTruth("a1", ALL, pace=0.85),),
            cv=0.35,
            day_sd=0.12,
            sketch_sd=0.15,
            forget_share=0.12,
            slip_share=0.02,
            ago_share=0.05,
            erases=True,
        ),
        Truth(
            "run-on-clocks",
            (BRUSH, CHALK, INK),
            (ArtistTruth("a1", ALL, breaks=LUNCH),),
            law="gamma",
            cv=0.35,
            sketch_sd=0.12,
            day_sd=0.1,
            stops_per_h=0.15,
            run_on_share=0.7,
            visitors_a_day=28,
        ),
        Truth(
            "counter-alone",
            (BRUSH, CHALK, INK),
            SOLO,
            law="weibull",
            cv=0.4,
            day_sd=0.1,
            sketch_sd=0.12,
            counter_share=0.85,
            pauses_per_h=UNTIDY_PAUSES,
            two_sitters=0.1,
            forget_share=0.04,
            ago_share=0.02,
            slip_share=0.01,
        ),
        Truth(
            "new-styles",
            (_brush(), _chalk(share=0.8), _pet(share=0.9, from_day=8, guess=1.3), _ink(from_day=15, guess=0.8)),
            (ArtistTruth("a1", ALL, pace=0.9, affinity=(("pet-pencil", 1.15),)),),
            cv=0.35,
            day_sd=0.1,
            sketch_sd=0.12,
            fatigue_per_h=0.02,
            tomorrow_share=0.05,
        ),
        Truth(
            "wrong-guesses",
            (_brush(guess=1.7), _chalk(guess=1 / 1.7), _ink()),
            SOLO,
            law="gamma",
            cv=0.35,
            day_sd=0.1,
            sketch_sd=0.15,
            guess_spread=0.5,
        ),
        Truth(
            "two-easels",
            (BRUSH, CHALK, INK),
            (
                ArtistTruth("left", ALL, pace=1.0, breaks=((12.0, 12.5),)),
                ArtistTruth("right", ("brush-head", "ink-head"), pace=0.9, breaks=((12.5, 13.0),)),
            ),
            visitors_a_day=50,
            cv=0.35,
            day_sd=0.12,
            sketch_sd=0.15,
            request_share=0.08,
            hold_share=0.04,
            cancel_share=0.02,
            no_show_share=0.01,
            touch_up_share=0.01,
            moved_share=0.02,
            closed_every=6,
            tomorrow_share=0.05,
        ),
        Truth(
            "three-easels",
            (BRUSH, CHALK, INK, PET),
            (
                ArtistTruth("a", ALL, pace=1.1, breaks=((12.0, 12.5),)),
                ArtistTruth("b", ("brush-head", "ink-head", "chalk-half"), pace=0.9, breaks=((12.5, 13.0),)),
                ArtistTruth("c", ("pet-pencil", "ink-head"), pace=1.0, affinity=(("pet-pencil", 0.85),)),
            ),
            law="gamma",
            cv=0.4,
            visitors_a_day=62,
            day_sd=0.12,
            sketch_sd=0.15,
            request_share=0.1,
            hold_share=0.05,
            put_backs_per_h=0.04,
            moved_share=0.02,
            cancel_share=0.02,
            counter_share=0.3,
            counter_leads=False,
            talk=Length(80, 0.5),
            late_share=0.08,
            erases=True,
        ),
    )
}
