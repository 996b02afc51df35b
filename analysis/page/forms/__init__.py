"""Forms that write in the book.

typed      what a form said, field by field; its key, what it was sure of
form       a form as it is shown: what stands in its fields, what is wrong, what is doubted
entering   the way of a form into the book: once, by the rules and doubts of every writer
amounts    what stands in a field, from a record, and how it is read back
"""
