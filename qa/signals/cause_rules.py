"""How signals of a month are joined to causes, in words: applied by causes.py."""

CAUSE_RULES: tuple[tuple[str, str], ...] = (
    (
        "Operators and their site",
        "A site's signal has the cause of its operators' signals where these have at least half of "
        "its excess and the site's other operators have not moved. Where several others have moved "
        "too, at least half as far as all together, the cause is the site's, and operators no "
        "further off than the others stand with it. Where hardly anybody else examines there, the "
        "others are all but the operator with most of the excess. Where all operators moved in "
        "months that meet, the site stands for them even without a signal of its own. A lasting "
        "difference from peers stands for a site's change only where the operator's exams moved "
        "then too.",
    ),
    (
        "A device and those who use it",
        "Where two or more operators moved on one device, it has three quarters or more of the "
        "site's excess, and the site's other devices of the same technique did not move, the "
        "device stands for them. Devices have no charts of their own.",
    ),
    (
        "Measures that move together",
        "Signals of one unit in measures that one slip moves (unreliable, incomplete, failed, "
        "unreliable attenuation and what follows from them; or the steps of preparation) are one "
        "cause where the months in which they may have begun meet. The largest stands; a measure "
        "that only follows, such as repeats, leads only where it is the cause: made at once, on "
        "the same day.",
    ),
    (
        "What only follows",
        "Repeats stand with the strongest cause at their site that had begun by then: a patient "
        "may come back to a colleague.",
    ),
    (
        "The network",
        "The network's signal has the cause of its units' items where these have at least half of "
        "its excess and the sites without an item have not moved. Where hardly any site is without "
        "one, the others are the sites with an item as a whole, but the one with most at stake.",
    ),
)
"""How signals are joined to causes, in this order; shown on Methods. All numbers in them are
proposals of this tool. Moved: as many bad exams have a chance of 5 % or less, given the two years
before and, where a model says so, the patients since."""
