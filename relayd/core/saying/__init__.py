"""What is said: texts in the reader's language, advice, cautions, short forms."""
