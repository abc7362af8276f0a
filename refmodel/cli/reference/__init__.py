"""The reference pages under `docs/reference`, written from the code's own schemas.

`make reference` writes them, and a test holds them to what would be written. What a key means
stands once, in the string below it in its schema.
"""
