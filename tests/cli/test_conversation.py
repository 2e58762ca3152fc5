"""Answers are kept, taken back and given again, whoever asks."""

import builtins

import pytest

from ledger.cli.conversation import Back, Conversation, Note, Unanswered


@pytest.fixture
def typed(monkeypatch):
    """Answers in the order in which they will be typed."""
    answers: list[str] = []
    monkeypatch.setattr(builtins, "input", lambda _: answers.pop(0))
    return answers


def run(conversation, *keys):
    """One run through some questions, with something said before each."""
    conversation.begin()
    found = []
    for key in keys:
        conversation.tell(f"about {key}")
        found.append(conversation.ask((key,), f"{key}? ", str.upper))
    return found


def test_what_was_answered_is_not_asked_again(typed, capsys):
    conversation = Conversation()
    typed += ["a", "b"]
    assert run(conversation, "one", "two") == ["A", "B"]
    assert capsys.readouterr().out == "about one\nabout two\n"
    assert run(conversation, "one", "two") == ["A", "B"]
    assert capsys.readouterr().out == ""


def test_back_takes_back_the_answer_before_the_question(typed):
    conversation = Conversation()
    typed += ["a", "back"]
    with pytest.raises(Back):
        run(conversation, "one", "two")
    conversation.go_back()
    typed += ["c", "d"]
    assert run(conversation, "one", "two") == ["C", "D"]


def test_back_at_the_first_question_says_so(typed, capsys):
    conversation = Conversation()
    typed += ["back"]
    with pytest.raises(Back):
        run(conversation, "one")
    conversation.go_back()
    typed += ["a"]
    run(conversation, "one")
    assert "That is the first question." in capsys.readouterr().out


@pytest.mark.parametrize(("again", "found"), [("", "A"), ("-", ""), ("c", "C")])
def test_an_answer_given_again_is_kept_emptied_or_another(typed, again, found):
    conversation = Conversation()
    typed += ["a", "b"]
    run(conversation, "one", "two")
    conversation.forget_part("one")
    typed += [again]
    assert run(conversation, "one", "two") == [found, "B"]


def test_an_answer_that_means_nothing_is_asked_for_again(typed, capsys):
    conversation = Conversation()

    def parse(text):
        if text == "?":
            raise Note("so and so")
        return int(text)

    typed += ["?", "many", "3"]
    assert conversation.ask(("n",), "How many? ", parse) == 3
    assert (
        capsys.readouterr().out == "so and so\n  invalid literal for int() with base 10: 'many'\n"
    )


def test_a_warning_is_said_once_and_never_lost_where_nothing_is_asked(typed, capsys):
    conversation = Conversation()
    typed += ["a"]
    run(conversation, "one")
    conversation.begin()
    for _ in range(2):
        conversation.warn("mind the gap")
    conversation.tell("by the way")
    conversation.ask(("one",), "one? ", str.upper)
    conversation.say_the_rest()
    conversation.warn("mind the gap")
    conversation.say_the_rest()
    assert capsys.readouterr().out == "about one\nmind the gap\n"


def test_a_conversation_that_is_over_holds_what_was_to_be_given_again(typed):
    conversation = Conversation()
    typed += ["a", "b"]
    run(conversation, "one", "two")
    conversation.forget_part("one")
    conversation.end()
    assert run(conversation, "one", "two") == ["A", "B"]
    with pytest.raises(Unanswered):
        run(conversation, "one", "two", "three")
