"""The app: `streamlit run app.py`, or `windtoll app`. Its screens are in energy/screens/."""

from energy.screens.start import run

run()
