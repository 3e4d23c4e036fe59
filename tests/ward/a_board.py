"""The round's board, asked in the server's own event loop: beside it, a test would read what is half done."""

from __future__ import annotations

from fastapi import FastAPI
from starlette.testclient import TestClient

from slackwater.web.board import Board
from ward.until import until


def looked(app: FastAPI, client: TestClient) -> None:
    """The board looks at the record now, not only with its next second."""
    client.portal.call(_look, app.state.board)  # type: ignore[union-attr]


def settled(app: FastAPI, client: TestClient) -> None:
    """Return once all that is in the record is worked out: until the next act or minute nothing changes."""

    def done() -> bool:
        head = app.state.record.head()
        return bool(client.portal.call(_is_settled, app.state.board, head and head.seq))  # type: ignore[union-attr]

    until(done, "the board never settled")


def stopped(app: FastAPI, client: TestClient) -> None:
    """From now on nobody looks at the record, and nothing is worked out."""
    client.portal.call(app.state.board.close)  # type: ignore[union-attr]


async def _look(board: Board) -> None:
    board._take(board._news())


async def _is_settled(board: Board, seq: int | None) -> bool:
    at_rest = board._seq == (seq or 0) and not board.trouble and not board._touched and not board._busy
    return at_rest and all(line.as_of_ms is not None for line in board._lines.values())
