"""What is on the rig and what comes next, through pulls and changes of mind."""

from daq.specimen_list import SpecimenList, label_of

A, B, C = ({"label": name, "pilot_mm": 8.0} for name in "ABC")


def pulled(specimens: SpecimenList) -> SpecimenList:
    return specimens.began().ended()


def test_the_list_is_worked_through_in_order():
    specimens = SpecimenList(A, (A, B, C))
    seen = []
    while specimens.on_rig:
        seen.append((label_of(specimens.on_rig), specimens.next_label))
        specimens = pulled(specimens)
    assert seen == [("A", "B"), ("B", "C"), ("C", "")]
    assert pulled(specimens) == SpecimenList()


def test_without_a_list_the_label_goes_and_the_rest_stays():
    """Nobody said what comes next: nothing is guessed, and no label stands for two pulls."""
    assert pulled(SpecimenList(A)) == SpecimenList({"pilot_mm": 8.0})


def test_one_pulled_out_of_turn_does_not_come_again():
    specimens = pulled(SpecimenList(A, (A, B, C)).put_on(B))
    assert label_of(specimens.on_rig) == "A"
    assert label_of(pulled(specimens).on_rig) == "C"


def test_one_that_is_not_on_the_list_leaves_the_list_whole():
    specimens = pulled(SpecimenList(A, (A, B)).put_on({"label": "spare"}))
    assert [label_of(s) for s in specimens.to_come] == ["A", "B"]
    assert label_of(specimens.on_rig) == "A"


def test_what_a_person_puts_on_during_the_pull_stays_on():
    specimens = SpecimenList(A, (A, B, C)).began().put_on(C).ended()
    assert label_of(specimens.on_rig) == "C"
    assert specimens.next_label == "B"
