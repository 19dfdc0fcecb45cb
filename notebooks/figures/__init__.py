"""Pictures and tables of the notebooks: values in, Markdown or the bytes of a picture out.

``gallery`` lays card photos side by side, ``stages`` draws what each stage of the pipeline made of
a photo, ``certainty`` what a study of many cards says, ``closed_forms`` the simulator and the
geometry against formulas, ``tables`` sets values beside printed ones, ``practice_archive`` draws
an invented archive to try a batch on. A notebook holds text and a call; what is worth a test is
here. The notebooks import it from the folder beside them.
"""
