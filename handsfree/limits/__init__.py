"""Every judgement of the trade, computed, with its limit, margin and source. Pure: no clock, no files."""

from handsfree.limits._measurands import MEASURANDS, Measurand, plausible
from handsfree.limits._policy import BASES, DEFAULT, Override, Policy, named_policy
from handsfree.limits._registry import answer, count, judge, rule, rules, window
from handsfree.limits._rule import Rule, exact, spoken
from handsfree.limits._types import Count, Facts, LimitsError, MissingFact, Outcome, Severity, Verdict, Window

__all__ = [
    "BASES",
    "DEFAULT",
    "MEASURANDS",
    "Count",
    "Facts",
    "LimitsError",
    "Measurand",
    "MissingFact",
    "Outcome",
    "Override",
    "Policy",
    "Rule",
    "Severity",
    "Verdict",
    "Window",
    "answer",
    "count",
    "exact",
    "judge",
    "named_policy",
    "plausible",
    "rule",
    "rules",
    "spoken",
    "window",
]
