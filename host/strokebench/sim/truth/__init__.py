"""What is true of a simulated specimen, finding by finding, for parts of either family.

Each module gives for one room of the diagnosis a table of what exactly is taken as the truth of a finding, in
the words of the estimators' docstrings, and a function that works it out from the plant's own parameters.
"""
