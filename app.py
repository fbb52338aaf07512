"""The app: `streamlit run app.py`, or `windtoll app`. Its screens are in energy/screens/."""

if __name__ == "__main__":  # one run of the script, for one session
    from energy.screens import start

    start.run()
elif __name__ == "warm_up":  # so `windtoll app` runs this file while the browser opens
    from energy.screens import start

    start.warm_up()
else:  # the web server asks for what it is to serve
    from streamlit.starlette import App

    from energy.screens import shell

    app = App(__file__, middleware=shell.middleware(), lifespan=shell.opened, on_script_error=shell.unforeseen)
