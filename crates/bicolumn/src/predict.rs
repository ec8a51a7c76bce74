//! `bicolumn predict`: the headline response at values of the factors, by the models of a study.

use crate::args::PredictArgs;
use crate::console::Console;
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_report::{CAUTION, predict_at};
use bicolumn_store::{ModelsRecord, StudyFolder, read_record};

pub(crate) fn predict(args: &PredictArgs, console: &mut Console<'_>) -> u8 {
    let path = StudyFolder::new(&args.dir).models_json();
    let refused = |console: &mut Console<'_>, told: String| {
        console.error(&told);
        CANNOT_RUN
    };
    if !path.exists() {
        return refused(
            console,
            format!(
                "{}: there is no such file\n  hint: bicolumn report writes it for a study whose points suffice for models: \
                 a headline, a factor of numbers with three values or more, eight points and five a factor",
                path.display()
            ),
        );
    }
    let record: ModelsRecord = match read_record(&path) {
        Ok(record) => record,
        Err(e) => {
            return refused(
                console,
                format!("{e}\n  hint: bicolumn report writes it again"),
            );
        }
    };
    if record.models.is_empty() {
        let told = "no load case has a model: the points cannot be told apart, or nothing predicts them better than their mean";
        return refused(console, format!("{}: {told}", path.display()));
    }
    let found = match predict_at(&record, &args.at) {
        Ok(found) => found,
        Err(told) => return refused(console, format!("{}: {told}", path.display())),
    };
    console
        .data("case,response,unit,predicted,standard_deviation,model,q2,nearest_point,value_there");
    for p in found {
        console.data(&format!(
            "{},{},{},{},{},{},{},{},{}",
            p.case,
            record.response,
            record.unit,
            p.mean,
            p.sd,
            p.form,
            p.q2,
            p.nearest.0,
            p.nearest.1
        ));
    }
    console.say(
        "predicted: what a model of solved points says, not a computation; the standard deviation is by the model's own \
         assumptions, and discretisation errors are not in it",
    );
    console.say(CAUTION);
    ALL_WELL
}
