"""What a review says, worked out from the counts and sums that an engine gives back."""

from batchtest.review.answers.build import Request, review

__all__ = ["Request", "review"]
