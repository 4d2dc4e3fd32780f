"""What is handed over: the sheet (HTML), the ribbon drawing, figures, and the terminal's words."""
