"""Questions of a translation: what do the sheets leave open, and which answer holds?

Each question is asked once, at most ten in all. What would be the eleventh takes its proposal.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from solespan.api.services.importing.sheets.translation import Question

__all__ = ["MOST_QUESTIONS", "Asker"]

MOST_QUESTIONS = 10


class Asker:
    """Asks under a key, and remembers: the same key is asked once."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.questions: dict[str, Question] = {}
        self._proposals: dict[str, str] = {}
        self._kinds: Counter[str] = Counter()

    def ask(
        self,
        key: str,
        words: str,
        choices: Sequence[tuple[str, str]],
        proposed: str,
        *,
        most: int = MOST_QUESTIONS,
    ) -> str:
        """Return the answer that holds; `most` bounds the questions of this kind.

        The kind is what stands before the first colon of the key.
        """
        if key in self.questions:
            return self.questions[key].answer
        kind = key.partition(":")[0]
        full = len(self.questions) >= MOST_QUESTIONS or self._kinds[kind] >= most
        if full and key not in self.answers:
            return proposed
        given = self.answers.get(key, proposed)
        answer = given if given in {choice for choice, _ in choices} else proposed
        if not full:
            self._kinds[kind] += 1
            self.questions[key] = Question(key, words, tuple(choices), proposed, answer)
        return answer
