"""Forms: what a person types, cleaned into what an entry takes.  One file a stage."""

from django.forms import ChoiceField, Field

Field.default_error_messages = {**Field.default_error_messages, "required": "Fill this in."}
ChoiceField.default_error_messages = {
    **ChoiceField.default_error_messages,
    "required": "Choose one.",
}
