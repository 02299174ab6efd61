"""Choose what to carry to a day's jobs, and say how sure it is that all of them connect.

plan = pack(day_from(parsed_job_file), evidence.expect, target=0.95)
plan.items, plan.certainty
"""

from kb.pack.jobs import Day, Job, Material, day_from, job_from, materials_from, together
from kb.pack.plan_values import Answer, Ask, JobPlan, Line, Next, Plan, Risk, Use, Useless
from kb.pack.planning import TARGET, pack
from kb.pack.wording import (
    answer_text,
    caveats,
    chance_text,
    expected_text,
    gain_text,
    hindrance_text,
    question_text,
    risk_text,
    to_json,
)

__all__ = [
    "TARGET",
    "Answer",
    "Ask",
    "Day",
    "Job",
    "JobPlan",
    "Line",
    "Material",
    "Next",
    "Plan",
    "Risk",
    "Use",
    "Useless",
    "answer_text",
    "caveats",
    "chance_text",
    "day_from",
    "expected_text",
    "gain_text",
    "hindrance_text",
    "job_from",
    "materials_from",
    "pack",
    "question_text",
    "risk_text",
    "to_json",
    "together",
]
