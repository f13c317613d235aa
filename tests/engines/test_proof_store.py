"""The proof store: what it keeps, and for how long."""

from verifier.engines.proof_store import ProofStore


def final(_: str) -> bool:
    return True


def test_an_answer_is_worked_out_once() -> None:
    store = ProofStore()
    asked: list[str] = []

    def work() -> str:
        asked.append("is it so?")
        return "yes"

    assert [store.answer("is it so?", work, final) for _ in range(3)] == ["yes"] * 3
    assert asked == ["is it so?"]


def test_what_a_limit_cut_short_is_asked_again() -> None:
    store, answers = ProofStore(), iter(["no answer in time", "yes", "never asked"])
    given = [
        store.answer("is it so?", lambda: next(answers), lambda answer: answer == "yes")
        for _ in range(3)
    ]
    assert given == ["no answer in time", "yes", "yes"]


def test_what_was_not_asked_for_longest_goes_first() -> None:
    store = ProofStore(most=2)
    for question in ("a", "b", "a", "c"):
        store.answer(question, lambda: "first", final)
    assert len(store) == 2
    again = [store.answer(question, lambda: "again", final) for question in ("a", "c", "b")]
    assert again == ["first", "first", "again"]
