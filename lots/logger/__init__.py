"""A data logger's CSV file: bytes in, readings out. No Django, no clock, no files.

understanding.understand   how a file is understood; takes a person's choices.Choices
reading.rows               its readings, or the refusal that says what to do
preview.preview            what a person sees before the rows go in
errors.LoggerFileError     every refusal, with a code, plain words and the line
"""
