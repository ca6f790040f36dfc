"""Forms: what a person types, cleaned into what an entry takes.  One file a stage."""

from django.forms import ChoiceField, Field, ModelChoiceField, MultipleChoiceField

GONE = "“%(value)s” cannot be chosen, or not any more. Choose again."

Field.default_error_messages = {**Field.default_error_messages, "required": "Fill this in."}
ChoiceField.default_error_messages = {
    **ChoiceField.default_error_messages,
    "required": "Choose one.",
    "invalid_choice": GONE,
}
MultipleChoiceField.default_error_messages = {
    **MultipleChoiceField.default_error_messages,
    "invalid_choice": GONE,
}
ModelChoiceField.default_error_messages = {
    **ModelChoiceField.default_error_messages,
    "invalid_choice": "This cannot be chosen, or not any more. Choose again.",
}
