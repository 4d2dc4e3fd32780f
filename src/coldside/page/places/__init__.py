"""One module a place of the page: plain functions from an `Ask` to HTML or data, and their routes."""
