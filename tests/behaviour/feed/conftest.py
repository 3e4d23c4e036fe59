"""A record for each test; the same fixtures as of the record's own tests."""

from behaviour.store.conftest import empty_record, place, record  # noqa: F401
