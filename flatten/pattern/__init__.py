"""What is cut: outline, allowances, marks."""
