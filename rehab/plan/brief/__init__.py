"""The council brief: what a budget buys, in plain words, as pages that a PDF and a screen draw."""
