"""Shows results: pages, figures, the printed report and the command line."""
