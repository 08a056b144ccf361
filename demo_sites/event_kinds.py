"""The kinds of event that a scenario can plant: one row defines a kind.

The reader of scenarios, the simulation, the truth file and the tests read the same rows.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class EventKind:
    """What can be planted.

    Args:
        name: word in the scenario file.
        targets: which of site, operator, device may be named; exactly one of them must be.
        sentence: what happens.
        size_means: what `size` says; None: the kind has no size.
        smallest, largest: limits of `size`.
    """

    name: str
    targets: tuple[str, ...]
    sentence: str
    size_means: str | None
    smallest: float = 0.0
    largest: float = 1.0


EVENT_KINDS: dict[str, EventKind] = {
    kind.name: kind
    for kind in (
        EventKind(
            "technique_drift",
            ("operator",),
            "An operator's technique slips: more exams with a wide spread, or with too few valid "
            'measurements (shows_as = "count").',
            "added to the share of unreliable (or incomplete) exams, 0.12 is 12 points",
            largest=0.6,
        ),
        EventKind(
            "learning_curve",
            ("operator",),
            "A newcomer starts in this month; the extra share halves with each `exams` exams done.",
            "added to the share of unreliable exams at the first exam",
            largest=0.6,
        ),
        EventKind(
            "device_bias",
            ("device",),
            "A software update shifts a device: stiffness times (1 + size).",
            "share by which stiffness is too high (negative: too low)",
            smallest=-0.5,
        ),
        EventKind(
            "device_wear",
            ("device",),
            "A probe wears: fewer measurements come out valid, whoever holds it.",
            "added to the share of incomplete exams by this device",
            largest=0.6,
        ),
        EventKind(
            "referral_bariatric",
            ("site",),
            "A new stream of patients of high body-mass index: other patients, not worse work.",
            "share of the site's new patients that come by this stream",
        ),
        EventKind(
            "fasting_lapse",
            ("site", "operator"),
            "Patients are examined too soon after a meal.",
            "added to the share of exams with less than two hours of fasting",
        ),
        EventKind(
            "repeats_until_reliable",
            ("operator",),
            "A wide spread is measured again at once, as a new exam, until it passes.",
            "share of the operator's exams that begin with one to three tries of wide spread",
        ),
        EventKind(
            "copied_values",
            ("operator",),
            "Figures of the exam before are entered again for the next patient.",
            "share of the operator's exams with copied figures",
        ),
        EventKind(
            "written_to_fit",
            ("operator",),
            "A spread at or over its limit is written down as just under it.",
            "share of the operator's exams of wide spread",
        ),
        EventKind(
            "paired_exams",
            ("site",),
            "A second operator examines the same patient right after the first, to compare.",
            "share of the site's reliable exams by TE",
        ),
        EventKind(
            "late_site",
            ("site",),
            "The site has not sent its files from this month on (up to `end` if given).",
            None,
        ),
        EventKind(
            "grade_mix_referral",
            ("site",),
            "A new referral path brings patients of higher stiffness and attenuation; the work "
            "stays as good.",
            "share of the site's new patients that come by this path",
        ),
        EventKind(
            "wrong_probe",
            ("operator",),
            "The standard probe is kept where the large-patient probe fits.",
            "share of such patients who get the standard probe",
        ),
    )
}
