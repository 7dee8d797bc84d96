"""The review room: a job's record as a page to read, to print and to hand over. It changes no record."""

from handsfree.review._customer import customer_page
from handsfree.review._index import Entry, entry_of, index_page
from handsfree.review._page import job_page
from handsfree.review._source import AUDIO_LIMIT, Sound, Source, read_source
from handsfree.review._write import Written, forget_pages, review_folder, review_job

__all__ = [
    "AUDIO_LIMIT",
    "Entry",
    "Sound",
    "Source",
    "Written",
    "customer_page",
    "entry_of",
    "forget_pages",
    "index_page",
    "job_page",
    "read_source",
    "review_folder",
    "review_job",
]
