"""`python -m refmodel.cli.reference`: write the reference pages anew."""

from refmodel.cli.reference.pages import FOLDER, written_files

FOLDER.mkdir(parents=True, exist_ok=True)
for name, text in written_files().items():
    (FOLDER / name).write_text(text, encoding="utf-8")
