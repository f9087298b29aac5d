"""What pages and drawings share: colours, marks, pens, charts."""
