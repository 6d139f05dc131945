"""The page: one self-contained HTML file for the bench, on a phone, a tablet or paper."""
