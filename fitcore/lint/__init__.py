"""What is wrong or doubtful in a size chart."""
