"""Findings of several plies that say the same are told once."""

from flatten.finding import Finding, gathered, of_plies


def strain(ply, share, code="strain", hint="Dart."):
    return Finding(
        code=code,
        severity="warning",
        message=f"Stretched by {share} % here.",
        hint=hint,
        ply_id=ply,
    )


def test_plies_with_the_same_trouble_share_a_line_and_the_worst_speaks():
    slack, undercut = strain("c", 3, code="slack"), strain("", 4)
    told = gathered([strain("a", 2), slack, strain("b", 11.5), undercut, strain("a", 9)])

    assert told == [(strain("b", 11.5), ("a", "b")), (slack, ("c",)), (undercut, ("",))]


def test_where_the_first_number_is_the_same_the_next_decides():
    """A mat stretched "by over 20 %" in two plies: the one with more of it speaks."""
    few, many = strain("a", "20 % on 0.83"), strain("b", "20 % on 5.3")

    assert gathered([few, many]) == [(many, ("a", "b"))]


def test_other_words_stay_apart():
    """Another hint may be another way out; what is about no ply is never merged."""
    one, other = strain("a", 2), strain("b", 2, hint="Splice.")
    assert len(gathered([one, other])) == 2
    assert len(gathered([strain("", 2), strain("", 2)])) == 2
    assert gathered([]) == []


def test_words_before_a_finding():
    assert of_plies([]) == ""
    assert of_plies([(2, "skin")]) == "Ply 2 skin: "
    assert of_plies([(3, "x"), (1, "skin")]) == "Plies 1, 3: "
