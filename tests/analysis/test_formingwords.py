from dataclasses import replace

from analysis.forming import A_TANK, Cure, FormingAnswer
from analysis.formingwords import FIRST_QUESTION, forming_lead, forming_sentence
from analysis.results import Interval
from analysis.symptoms import DECISION_ORDER, SYMPTOMS


def cure(key: str, gain_kpa: float, is_leak: bool = False) -> Cure:
    gain = Interval(gain_kpa * 1e3, gain_kpa * 0.9e3, gain_kpa * 1.1e3)
    return Cure(key, key, is_leak, gain, gain)  # type: ignore[arg-type]


TANK, EDGE = cure("tank", 14.0), cure("edge", 1.8, is_leak=True)
ANSWER = FormingAnswer(
    landing_s=0.6, needs_pa=34_000.0, reached_pa=47_000.0, short_pa=13_000.0, short_at_set_pa=13_000.0,
    leak_cost_early_pa=1_800.0, leak_cost_set_pa=10_000.0, blamed=TANK, cures=(TANK, EDGE), box_at_fault=False)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_mostly_not_the_box_in_both_systems() -> None:
    assert plain(forming_sentence(ANSWER)) == (
        "Mostly not the box. A second tank gives back 14 kPa while detail forms, sealing the edge 1.8 kPa; "
        "you need 13 kPa.")
    # 14, 1.8 and 13 kPa are 4.1, 0.53 and 3.8 inHg
    assert plain(forming_sentence(ANSWER, "inch")) == (
        "Mostly not the box. A second tank gives back 4.1 inHg while detail forms, sealing the edge 0.53 inHg; "
        "you need 3.8 inHg.")


def test_a_box_without_a_tank_wants_a_first_one() -> None:
    first = replace(TANK, label=A_TANK)
    assert plain(forming_sentence(replace(ANSWER, blamed=first, cures=(first, EDGE)))).startswith(
        "Mostly not the box. A tank gives back 14 kPa")


def test_what_the_leak_costs_when_set_is_spring_back() -> None:
    assert plain(forming_lead(ANSWER)) == (
        "The sheet lands after 0.60 s. By the time it has set the leaks have cost 10 kPa: "
        "that shows as spring-back, not as soft detail.")
    assert forming_lead(replace(ANSWER, leak_cost_set_pa=100.0, landing_s=None)) == (
        f"The sheet does not land in time. {FIRST_QUESTION}")


def test_the_box_when_sealing_helps_most() -> None:
    large = cure("edge", 15.0, is_leak=True)
    answer = replace(ANSWER, cures=(large, TANK), blamed=large, box_at_fault=True)
    assert plain(forming_sentence(answer)).startswith("The box. Sealing the edge gives back 15 kPa")


def test_nothing_short_and_nothing_known() -> None:
    assert plain(forming_sentence(replace(ANSWER, short_pa=0.0, reached_pa=33_000.0))) == (
        "Not the box. Its parts get what they need: 33 kPa under the sheet, and they need 34 kPa or less.")
    assert forming_sentence(replace(ANSWER, blamed=None, cures=())).startswith("Cannot tell.")


def test_a_leak_is_never_the_first_cause_named() -> None:
    assert all("leak" not in s.causes[0] for s in SYMPTOMS)
    assert "leaks" in DECISION_ORDER[-1]
