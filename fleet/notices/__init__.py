"""Who is told what, when and by which way: the call list, notices as rows, the channels that carry them."""
