"""Practice on invented drains: exercises that unfold, scored against the simulator's truth and the learner's own
confidence. Truth is never taken from our own assessment."""

from slackwater.teach.draw import Drawn, draw
from slackwater.teach.exercise import Exercise
from slackwater.teach.lesson import Lesson
from slackwater.teach.load import load_exercise
from slackwater.teach.shelf import shipped_exercises

__all__ = ["Drawn", "Exercise", "Lesson", "draw", "load_exercise", "shipped_exercises"]
