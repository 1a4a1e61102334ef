"""The rules of a plan, each checked by itself; none of this is used to make one."""
