"""What may become of a marked queen inseminated on 1 June, worked out by hand."""

from __future__ import annotations

from queen_outcomes.base.store import Store
from station_tables import check, day, derived, insemination, leave

AS_OF = day(122)
EMPTY = {"eggs": False, "larvae": False, "sealed": False}
SOUND = {"sealed": True, "drone_in_worker": "none", "queen_seen": True}
BEGUN = check(12, eggs=True, larvae=False, queen_seen=True)
CLEAN = check(30, **SOUND, mark_seen=True)
MANY = check(40, sealed=True, drone_in_worker="many")

FATES = {
    "nobody looked": (
        [],
        {"onset_after": 0, "onset_by": None, "unlaid_day": None, "begun_by": None}
        | {"end_by": None, "alive_day": None, "mark_day": None, "sound_day": None}
        | {"watched_days": 122, "first_days": 0, "drone_by": None, "drone_after": None},
    ),
    "sold, in hand until then": (
        [BEGUN, CLEAN, leave(50, "sold")],
        {"onset_after": 8, "onset_by": 12, "alive_day": 50, "mark_day": 50}
        | {"sound_day": 50, "exit_day": 50, "exit_reason": "sold", "end_by": None},
    ),
    "her colony was lost, in nobody's hand": (
        [BEGUN, CLEAN, leave(50, "colony_lost")],
        {"alive_day": 30, "mark_day": 30, "sound_day": 30, "exit_day": 50},
    ),
    "taken out for her drone brood, sound when last seen so": (
        [BEGUN, CLEAN, leave(50, "drone_layer")],
        {"drone_by": 50, "drone_after": 30, "end_by": 50, "end_behind": 49}
        | {"end_since": 30, "alive_day": 50, "end_reason": "drone_layer"},
    ),
    "taken out for it on the day of a look without any": (
        [BEGUN, CLEAN, check(50, **SOUND), leave(50, "drone_layer")],
        {"drone_by": 50, "drone_after": 0},
    ),
    "seen with it before": (
        [BEGUN, CLEAN, MANY, leave(50, "drone_layer")],
        {"drone_by": 40, "drone_after": 30, "end_by": 50},
    ),
    "seen with it and with nothing before": (
        [BEGUN, MANY],
        {"drone_by": 40, "drone_after": 0, "sound_day": None, "end_by": None},
    ),
    "taken out for it, never looked at": (
        [leave(50, "drone_layer")],
        {"drone_by": 50, "drone_after": 0, "unlaid_day": 50, "begun_by": 25},
    ),
    "inseminated again, not looked at lately": (
        [check(9, eggs=False), insemination(20)],
        {"next_day": 20, "unlaid_day": 20, "begun_by": 20, "alive_day": 20}
        | {"mark_day": 20, "sound_day": None, "end_by": None, "onset_after": 9},
    ),
    "inseminated again, without brood a week before": (
        [check(13, **EMPTY), insemination(20)],
        {"next_day": 20, "unlaid_day": 20, "begun_by": None},
    ),
    "two doses": (
        [insemination(2), check(12, eggs=True)],
        {"first_days": 2, "watched_days": 120, "onset_by": 10},
    ),
    "looks that contradict each other": (
        [check(15, eggs=False), check(20, sealed=True)],
        {"onset_after": 0, "onset_by": 12},
    ),
    "looks that meet on one day": (
        [check(12, eggs=False), check(20, sealed=True)],
        {"onset_after": 0, "onset_by": 12},
    ),
    "looks that leave a day between": (
        [check(11, eggs=False), check(20, sealed=True)],
        {"onset_after": 11, "onset_by": 12},
    ),
    "missing, without brood a week before": (
        [check(23, **EMPTY), leave(30, "missing")],
        {"unlaid_day": 30, "begun_by": None, "end_by": 30, "end_behind": 0},
    ),
    "missing, without brood eight days before": (
        [check(22, **EMPTY), leave(30, "missing")],
        {"unlaid_day": 30, "begun_by": 15},
    ),
    "dead too early to lay": ([leave(5, "dead")], {"unlaid_day": 5, "begun_by": None}),
    "dead a day later": (
        [leave(6, "dead")],
        {"unlaid_day": 6, "begun_by": 3, "end_since": 0, "end_behind": 5},
    ),
    "dead on day 0": (
        [leave(0, "dead")],
        {"end_by": 0, "end_since": -1, "unlaid_day": 0, "begun_by": None},
    ),
    "missing, which nobody saw by looking": (
        [BEGUN, leave(60, "missing")],
        {"end_since": 12, "end_by": 60, "end_behind": 30, "unlaid_day": None},
    ),
    "missing, and looked for the day before": (
        [BEGUN, check(59, queen_seen=False), leave(60, "missing")],
        {"end_since": 12, "end_by": 60, "end_behind": 12},
    ),
    "missing, last looked for two days before": (
        [BEGUN, check(58, queen_seen=False), leave(60, "missing")],
        {"end_behind": 30},
    ),
    "missing soon after she was seen": (
        [BEGUN, check(45, queen_seen=True), leave(60, "missing")],
        {"end_since": 45, "end_behind": 45},
    ),
    "eggs on the day she was found dead": (
        [BEGUN, check(40, eggs=True), leave(40, "dead")],
        {"end_since": 37, "end_by": 40, "end_behind": 37},
    ),
    "another queen in her place": (
        [BEGUN, CLEAN, check(60, eggs=True), check(90, queen_seen=True, mark_seen=False)],
        {"end_reason": "superseded", "end_by": 90, "end_since": 30, "end_behind": 30},
    ),
    "another queen, her own mark never seen": (
        [BEGUN, check(60, eggs=True), check(90, queen_seen=True, mark_seen=False)],
        {"end_by": 90, "end_since": 12, "is_marked": True},
    ),
    "missing at two looks, an exit later": (
        [
            check(7, queen_seen=False, eggs=False),
            check(10, queen_seen=False, eggs=False),
            leave(30, "dead"),
        ],
        {"end_reason": "dead", "end_by": 7, "end_since": 0, "end_behind": 0}
        | {"unlaid_day": 7, "begun_by": None},
    ),
}
"""What is on record of a marked queen inseminated on day 0, and what follows."""


def known() -> tuple[Store, dict[str, str]]:
    """Derive all of them in one station; give the store, and the course of each fate."""
    names = {fate: f"Q{at:02}" for at, fate in enumerate(FATES)}
    rows = {"checks": [], "exits": [], "inseminations": []}
    for fate, name in names.items():
        rows["inseminations"].append(insemination(0, name))
        for row in FATES[fate][0]:
            table = "checks" if "checked_on" in row else "exits"
            table = "inseminations" if "inseminated_at" in row else table
            rows[table].append({**row, "queen_id": name})
    queens = [{"queen_id": name, "marked": True} for name in names.values()]
    store = derived(AS_OF, queens=queens, until="meant", **rows)
    return store, {fate: f"{name}/1" for fate, name in names.items()}
