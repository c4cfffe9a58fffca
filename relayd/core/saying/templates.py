"""A site's own texts: which names they may hold, and what is wrong with one.

In: a template, the plan's texts. Out: a problem in words, or the text that a message uses. They
stand in place of the built-in sentence of an alarm that is raised; cautions, steps and how to
answer stay.
"""

import re
from collections.abc import Mapping
from string import Template

from relayd.core import conditions as c
from relayd.core.plan import Plan

TEMPLATE_NAMES: frozenset[str] = frozenset(
    {"panel", "where", "site", "name", "since", "lasted", "level", "reserve", "told", "person"}
    | {"number"}
)
"""The names that a site's own text may hold; `number` is the alarm's, as acknowledgements give it."""
_ES_BREAKER = r"(interruptor(es)?|disyuntor(es)?|breakers?|pastillas?|llaves?\s+t[ée]rmicas?)"
_BREAKERS = (
    r"(?<!all )\bbreakers?\s+(is\s+|are\s+)?off\b",
    r"\b(turn|switch|shut)\s+off\s+the\s+breakers?\b(?!\s+label)",
    rf"(?<!todos los )\b{_ES_BREAKER}\s+(est[áa]n?\s+)?(desconectad|apagad|cortad|bajad|abiert|en off)",
    r"\b(desconect|apag|baj|cort|abr)\w*\s+(el|los|la|las)\s+"
    rf"{_ES_BREAKER}\b(?!\s+(rotulad|etiquetad|marcad))",
)
_BREAKER = re.compile("|".join(f"(?:{each})" for each in _BREAKERS), re.I)
"""'Breaker off' without saying which, in the languages that are offered."""


def template_problem(text: str) -> str:
    """What is wrong with a site's own text, in words; '' where it is good."""
    template = Template(text)
    if not text.strip():
        return "is empty"
    if not template.is_valid():
        return "holds a '$' that begins no name (write '$$' for a dollar sign)"
    odd = sorted(set(template.get_identifiers()) - TEMPLATE_NAMES)
    if odd:
        known = ", ".join(f"${each}" for each in sorted(TEMPLATE_NAMES))
        return f"names ${odd[0]}, which is none of {known}"
    if _BREAKER.search(text):
        return "speaks of a breaker that is off without its label: say which, or 'ALL breakers'"
    return ""


def own(plan: Plan, condition: str, language: str, form: str, values: Mapping[str, str]) -> str:
    """The site's own text for that condition, language and form ('short' or 'long'); '' where none is."""
    for name in dict.fromkeys((condition, c.base_of(condition))):
        text = plan.texts.get(f"{name}:{language}:{form}")
        if text is not None:
            return Template(text).safe_substitute(values)
    return ""
