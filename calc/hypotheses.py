"""Likely causes, as far as readings are weighed today: the healthy circuit, or something else."""

from calc.judgement import Hypothesis

REMEDIES = {"healthy": "no_action", "none_of_these": "measure_further"}


def screened(healthy_probability: float, *, defect_found: bool) -> tuple[Hypothesis, ...]:
    """Return `healthy` and `none_of_these`, most probable first; a defect found rules `healthy` out.

    Examples
    --------
    >>> [cause.cause for cause in screened(0.2, defect_found=False)]
    ['none_of_these', 'healthy']
    """
    healthy = 0.0 if defect_found else healthy_probability
    ranked = sorted({"healthy": healthy, "none_of_these": 1 - healthy}.items(), key=lambda cause: -cause[1])
    return tuple(
        Hypothesis(cause, None, probability, group, REMEDIES[cause])
        for group, (cause, probability) in enumerate(ranked, start=1)
    )
