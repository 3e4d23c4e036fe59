"""The five answers: none of them is yes or no, and 'all of' takes the lowest."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from slackwater.protocol.status import Status, all_of, all_of_codes

ORDER = [Status.NOT_MET, Status.CANNOT_TELL, Status.MET_WITH_GAPS, Status.MET, Status.NOT_APPLICABLE]


@pytest.mark.parametrize("status", ORDER)
def test_a_status_has_no_truth_value(status: Status) -> None:
    """haz-D04."""
    with pytest.raises(TypeError, match="not yes or no"):
        bool(status)
    with pytest.raises(TypeError, match="not yes or no"):
        if status:  # what a hurried reader would write
            pass


def test_the_words_are_those_of_the_files() -> None:
    assert [status.word for status in ORDER] == [
        "not_met",
        "cannot_tell",
        "met_with_gaps",
        "met",
        "not_applicable",
    ]


def test_all_of_agrees_with_the_table_for_every_three() -> None:
    for three in product(ORDER, repeat=3):
        counted = [status for status in three if status is not Status.NOT_APPLICABLE]
        lowest = next((status for status in ORDER if status in counted), Status.NOT_APPLICABLE)
        assert all_of(three) is lowest
        codes = all_of_codes([np.array([status], dtype=np.int8) for status in three], 1)
        assert Status(int(codes[0])) is lowest


def test_an_undecided_clause_never_flips_a_decided_whole() -> None:
    """M15: replacing 'cannot tell' by 'met' or 'not met' keeps a whole that was already decided."""
    for three in product(ORDER, repeat=3):
        whole = all_of(three)
        for place, status in enumerate(three):
            if status is not Status.CANNOT_TELL or whole is Status.CANNOT_TELL:
                continue
            for other in (Status.MET, Status.NOT_MET):
                assert all_of((*three[:place], other, *three[place + 1 :])) is whole
