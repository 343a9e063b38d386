"""The pages of the workbook, for the laptop on the chart table and the phone in the cockpit."""
