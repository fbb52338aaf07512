"""The app: `streamlit run app.py`, or `windtoll app`. Its screens are in energy/screens/."""

from energy.screens import start

if __name__ == "warm_up":  # so `windtoll app` runs this file while the browser opens
    start.warm_up()
else:
    start.run()
