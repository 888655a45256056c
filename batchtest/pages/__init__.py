"""HTML pages from records: one for each attempt, one for a batch. No network, no script; they print on A4."""

from batchtest.pages.attempt import attempt_page, write_attempt_page
from batchtest.pages.batch import batch_page, write_batch_page

__all__ = ["attempt_page", "batch_page", "write_attempt_page", "write_batch_page"]
