"""The databases under load: the same fixtures as in tests/postgres."""

from postgres.conftest import database_url, files_of_its_own, server

__all__ = ["database_url", "files_of_its_own", "server"]
