"""Estimate the outputs of any source, known or not, from all findings, and how sure the estimate is.

evidence = Evidence.learn(visits)
evidence.expect(Source("Norwell", "", year=2014)).shapes    # panels, likeliest first
evidence.chance(source, panel_jack).p                       # does it carry sound here
"""

from kb.domain.chance import Chance
from kb.evidence.learn import Evidence, Expectation, LevelCount, Likely
from kb.evidence.prior import Prior, prior_from, standard_prior
from kb.evidence.signature import Outlet, Output, Signature, panel_from

__all__ = [
    "Chance",
    "Evidence",
    "Expectation",
    "LevelCount",
    "Likely",
    "Outlet",
    "Output",
    "Prior",
    "Signature",
    "panel_from",
    "prior_from",
    "standard_prior",
]
