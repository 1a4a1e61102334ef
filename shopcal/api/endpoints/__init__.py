"""The API's own endpoints: what there is, who is asking, tokens, and the kinds of problem."""
