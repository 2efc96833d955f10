"""What shows that the bench keeps its promises: accuracy, fault matrix, refusals."""
