"""Proposals made by hand: a station's parts, and what was answered."""

from queen_outcomes.records.map.asked import orders, proposal, wordlist
from queen_outcomes.records.map.asked.questions import Question, question_id
from sheets_by_hand import station


def proposed(*parts, answers=None, seen=None, **more):
    """A proposal whose questions have these answers: (kind, *place) -> answer."""
    looked = seen or station(*parts)
    asked = [
        Question(question_id(*place), "", answer=answer)
        for place, answer in (answers or {}).items()
    ]
    return proposal.Proposal(
        looked, orders.judge(looked), wordlist.gather(looked), asked, **more
    )
