"""JSON schemas of the files, for editors: what pydantic makes, with each key described."""

from __future__ import annotations

import json
from typing import Any

from pydantic import BaseModel, TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from refmodel.cli.reference.described import described, first_sentence

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class Described(GenerateJsonSchema):
    """Puts what stands below a key in its schema beside the key, and leaves titles out."""

    def model_schema(self, schema: Any) -> JsonSchemaValue:  # noqa: ANN401 - pydantic's own type
        """Return a schema's form, described."""
        model: type[BaseModel] = schema["cls"]
        names = {name: field.alias or name for name, field in model.model_fields.items()}
        return _with(super().model_schema(schema), model, names)

    def typed_dict_schema(self, schema: Any) -> JsonSchemaValue:  # noqa: ANN401
        """Return a typed dictionary's form, described."""
        return _with(super().typed_dict_schema(schema), schema["cls"], {})

    def dataclass_schema(self, schema: Any) -> JsonSchemaValue:  # noqa: ANN401
        """Return a data class's form, described; every key is written, so none may be missing."""
        made = _with(super().dataclass_schema(schema), schema["cls"], {})
        for of_key in made["properties"].values():
            of_key.pop("default", None)
        return {**made, "required": list(made["properties"])}


def _with(made: JsonSchemaValue, form: type, names: dict[str, str]) -> JsonSchemaValue:
    """Return a form, described; `names` has the keys that are called otherwise in a file."""
    made["description"] = first_sentence(form.__doc__ or "")
    for name, text in described(form).items():
        made["properties"][names.get(name, name)]["description"] = text
    return made


def json_schema(form: Any) -> str:  # noqa: ANN401 - a class, or a list of one
    """Return the JSON schema of a file as text."""
    made = TypeAdapter(form).json_schema(schema_generator=Described)
    return json.dumps({"$schema": DIALECT, **_plain(made)}, indent=1) + "\n"


def _plain(value: Any) -> Any:  # noqa: ANN401 - any JSON
    """Return it without titles, which only repeat the keys, and formats nobody else knows."""
    if isinstance(value, dict):
        odd = value.get("format") == "fraction"
        return {
            key: _plain(part)
            for key, part in value.items()
            if not (key == "title" and isinstance(part, str)) and not (odd and key == "format")
        }
    return [_plain(part) for part in value] if isinstance(value, list) else value
