"""Words of an explained change: verdict, confidence, what was seen, what next."""

from qa.charts.curves import share_intervals
from qa.drift.causes import (
    ALIKE,
    DEVICE,
    NEWCOMERS,
    OPERATOR,
    PATIENTS,
    PROBE,
    Explained,
    Explanation,
)
from qa.drift.exam_steps import Steps
from qa.drift.verdict import (
    FEW,
    LIKELY,
    NOT_ESTABLISHED,
    NOT_MOVED,
    UNSEEN_PATIENTS,
    VERY_LIKELY,
    Verdict,
)
from qa.model.definitions import Measure, Network
from qa.views import words
from qa.views.explain_rows import (
    PART_WORDS,
    SHOWN_WEIGHT,
    explanation_name,
    in_hundred,
    member_name,
    points,
)


def answer_words(
    network: Network,
    name: str,
    measure: Measure,
    found: Explained,
    verdict: Verdict,
    steps: Steps,
) -> str:
    """The verdict as one sentence; where values moved and the share has not, it speaks of them."""
    if verdict.cause == FEW:
        return f"{name}: too few exams to say why {measure.event} have moved"
    if verdict.cause == NOT_MOVED:
        return f"{name}: {measure.event} have not moved beyond chance"
    moved = (
        f"{name}: {measure.event} {'rose' if found.change_micro > 0 else 'fell'} from "
        f"{words.percent_number(found.events_before / found.n_before)} to "
        f"{words.percent(found.events_after / found.n_after)}"
    )
    is_share_still = verdict.lower <= 0 <= verdict.upper
    if is_share_still and steps.found is not None and steps.ratio is not None:
        quantity = measure.key.split("_")[0]
        way = "higher" if steps.ratio > 1 else "lower"
        by = words.percent(abs(steps.ratio - 1))
        moved = f"{name}: {quantity} in some exams is about {by} {way}"
    return f"{moved}: {_cause_words(network, found, verdict)}"


def _cause_words(network: Network, found: Explained, verdict: Verdict) -> str:
    how = "very likely" if verdict.weight >= VERY_LIKELY else "probably"
    top = found.explanations[0]
    if verdict.cause == PATIENTS:
        return "other patients were referred"
    if verdict.cause == UNSEEN_PATIENTS and top.kind == NEWCOMERS and top.weight >= LIKELY:
        return (
            f"{how} other patients, as those who came before have not changed; exports do not "
            "describe what is different"
        )
    if verdict.cause == UNSEEN_PATIENTS:
        return (
            f"{how} other patients, as all operators and devices moved alike; exports do not "
            "describe what is different"
        )
    if verdict.cause == NOT_ESTABLISHED:
        if top.kind == ALIKE and top.weight >= LIKELY:
            return f"cause not established; {_alike_words(network, found, top)}"
        return "cause not established"
    if verdict.is_composition:
        return {
            OPERATOR: "other operators examine now; nobody's own level has moved",
            DEVICE: "other devices are used now; no device's own level has moved",
            PROBE: "probes or techniques are used otherwise now",
        }[verdict.cause]
    names = explanation_name(network, top)
    if verdict.cause == DEVICE:
        return f"{how} {words.lower_first(names)}, not its operators"
    return f"{how} {words.lower_first(names)} alone"


def _alike_words(network: Network, found: Explained, top: Explanation) -> str:
    """Where one device serves all, it cannot be told from the site."""
    names = [member_name(network, *one) for one in top.members]
    is_old_too = any(one.kind == NEWCOMERS for one in found.explanations)
    if names and is_old_too:
        return (
            "everybody moved alike, patients who came before as well, and "
            f"{words.lower_first(words.listed(names))} serves all: the device, or what all do"
        )
    if is_old_too:
        return "everybody at the site moved alike, patients who came before as well"
    if names:
        return (
            f"everybody moved alike, and {words.lower_first(words.listed(names))} serves all, so "
            "device and patients cannot be told apart from exams"
        )
    return "everybody at the site moved alike"


def sure_words(network: Network, measure: Measure, found: Explained, verdict: Verdict) -> str:
    """How sure the verdict is, and what stands against it."""
    if verdict.cause == FEW:
        return "Twenty exams before and twenty after are the least that is weighed."
    if verdict.cause == PATIENTS or verdict.is_composition:
        part = next(one for one in found.parts if one.name == verdict.cause)
        return (
            f"{PART_WORDS[part.name].split(':')[0]}: {points(part.micro)} of "
            f"{points(found.change_micro)} percent points "
            f"({points(part.lower_micro)} to {points(part.upper_micro)})."
        )
    first = found.explanations[0]
    second = found.explanations[1] if len(found.explanations) > 1 else None
    said = f"{explanation_name(network, first)}: {in_hundred(first.weight)}"
    if second is not None and second.weight >= SHOWN_WEIGHT:
        other = words.lower_first(explanation_name(network, second))
        said += f"; {other}: {in_hundred(second.weight)}"
    return f"{said}, if one thing moved."


def before_after_words(measure: Measure, found: Explained, verdict: Verdict, steps: Steps) -> str:
    sides = []
    for events, n in (
        (found.events_before, found.n_before),
        (found.events_after, found.n_after),
    ):
        (lower,), (upper,) = share_intervals((events,), n)
        share = words.percent_with_interval(events / n, lower, upper)
        sides.append(f"{share} of {words.counted(n, 'exam')}")
    said = (
        f"{words.as_sentence(measure.event)[:-1]}: {sides[0]} before, {sides[1]} after; a change "
        f"of {points(found.change_micro)} points ({100 * verdict.lower:+.1f} to "
        f"{100 * verdict.upper:+.1f})."
    )
    if steps.found is None or steps.ratio is None:
        return said
    assert steps.lower is not None
    assert steps.upper is not None
    return (
        f"{said} Values of the likeliest explanation's exams are {steps.ratio:.2f} times those "
        f"before ({steps.lower:.2f} to {steps.upper:.2f}), patients taken into account."
    )


def next_words(network: Network, measure: Measure, found: Explained, verdict: Verdict) -> str:
    """What to look at; a cause from exams alone is a question until it is checked."""
    if verdict.cause in (FEW, NOT_MOVED):
        return "Nothing to do for this measure. Look again when more exams are in."
    if verdict.cause in (PATIENTS, UNSEEN_PATIENTS):
        return "Ask the site whether another clinic or ward refers to it since then."
    if verdict.cause == DEVICE:
        return "Check the device on a phantom, and its events since then, before anyone is trained."
    if verdict.cause == OPERATOR:
        return f"Go through recent exams with the operator: {measure.step}."
    if verdict.cause == PROBE:
        return "Look at how the probe is chosen, and check it on a phantom."
    if found.explanations[0].kind == ALIKE:
        return (
            "Check the device on a phantom, and ask the site who refers to it and what was changed "
            "for all, in this order."
        )
    return "Wait for another month, or look at the likeliest two below by hand."
