"""The fast form of the model: change lists of whole revolutions, their comparison and causes."""
