"""What can go wrong with files that sites send: one row defines a kind.

The reader of scenarios, the writer of files, the truth and the tests read the same rows.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class MishapKind:
    """What goes wrong.

    Args:
        name: word in the scenario file.
        sentence: what happens, and what intake should make of it.
        needs: columns of which a shape must send at least one.
        fate: what becomes of the exams it touches: in, withdrawn or waits.
    """

    name: str
    sentence: str
    needs: tuple[str, ...] = ()
    fate: str = "in"


MISHAP_KINDS: dict[str, MishapKind] = {
    kind.name: kind
    for kind in (
        MishapKind(
            "corrected_export",
            "Some exams came with fasting hours that were not so; the month's file is sent again, "
            "corrected. The corrected values count.",
            needs=("fasting_hours",),
        ),
        MishapKind(
            "sent_twice",
            "The month's file is sent again under another name. Nothing counts twice.",
        ),
        MishapKind(
            "amended",
            "Some exams came with fasting hours that were not so, and come again, amended, with "
            "the month after.",
            needs=("source_status",),
        ),
        MishapKind(
            "taken_back",
            "Some exams came as done and are taken back by the file of the month after.",
            needs=("source_status", "is_retracted"),
            fate="withdrawn",
        ),
        MishapKind(
            "unit_missing",
            "The unit of stiffness is left out of some rows. They wait.",
            needs=("stiffness_unit",),
            fate="waits",
        ),
        MishapKind(
            "valid_above_attempted",
            "Some rows have more valid measurements than attempted ones. They wait.",
            needs=("n_attempted",),
            fate="waits",
        ),
        MishapKind(
            "unknown_operator",
            "Some rows hold an operator's code that nobody has. They wait.",
            fate="waits",
        ),
        MishapKind(
            "stated_otherwise",
            "The stated median of some exams is a slip: the single measurements beside it give "
            "another. What is stated enters, flagged.",
            needs=("reading 1",),
        ),
    )
}
