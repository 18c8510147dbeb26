"""``knurlcam plan``: what is decided, and why."""

from __future__ import annotations

from knurlcam.cli.options import AsJson, JobFile, LogFile, NoMeasured, ShopFile, measured_from
from knurlcam.cli.output import errors_reported, imprint_hint, print_json, review_hint

__all__ = ["plan"]


def plan(
    job: JobFile,
    shop: ShopFile = None,
    log: LogFile = None,
    no_measured: NoMeasured = False,
    as_json: AsJson = False,
) -> None:
    """The plan of a job, and the reason for each value.

    It shows what the job gives, what is recommended in addition, the passes, and estimates
    of loads and deflection.
    """
    with errors_reported(as_json=as_json, job=job):
        from knurlcam.imprint.window import predict_imprint
        from knurlcam.job.model import Job
        from knurlcam.plan.planner import make_plan

        loaded = Job.load(job, shop, measured=measured_from(log, no_measured=no_measured))
        made = make_plan(loaded)
        predicted = predict_imprint(made)
        if as_json:
            double = None if predicted is None else predicted.double_impression
            print_json({**made.to_dict(), "double_impression": double})
            return
        from knurlcam.cli.plan_tables import print_plan, print_predicted_imprint
        from knurlcam.shop.fill import find_shop

        kept = find_shop(job, shop)
        print_plan(made, kept.rolls_for(loaded) if kept is not None else ())
        print_predicted_imprint(predicted)
        print(imprint_hint(job))
        print(review_hint(job))
