"""Whether a profile makes quartiles as the criteria sets in force do."""

from collections.abc import Sequence

from qa.model.definitions import CriteriaSet, Profile


def quartile_remark(profile: Profile, criteria: Sequence[CriteriaSet]) -> str:
    """What to say of a profile whose quartiles are of another type than those that judge.

    Args:     criteria: the sets in force, at any time.
    Returns:  "" where the profile holds no single readings or all types agree.
    Why:      the same ten readings give another IQR/median by another type, so exams near the limit
              fall otherwise; nothing is converted, because a device that itself works by that type
              sends such IQRs all the same.
    """
    if profile.measurements is None:
        return ""
    own = profile.measurements.quartile_type
    others = [one for one in criteria if one.quartile_type != own]
    if not others:
        return ""
    wanted = " and ".join(str(one) for one in sorted({one.quartile_type for one in others}))
    named = ", ".join(one.id for one in others)
    return (
        f"Profile {profile.full_id} makes the IQR of single readings by quartiles of type {own}, "
        f"{named} by type {wanted}: near the limit exams may fall otherwise than at other sites. "
        f"Set quartile_type = {wanted}, unless the device itself works by type {own}."
    )
