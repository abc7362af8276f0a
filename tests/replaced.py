"""Texts of files changed for a test: what is to be changed must be there, and only once."""


def replaced(text, *pairs):
    """Return the text with the first of each pair, which stands in it once, replaced."""
    for old, new in pairs:
        assert 1 == text.count(old), old
        text = text.replace(old, new)
    return text


def replace_in(path, *pairs):
    """Replace texts in a file as `replaced` does."""
    path.write_text(replaced(path.read_text(), *pairs))
