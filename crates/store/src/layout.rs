//! Where the files of a study are.

use std::path::{Path, PathBuf};

/// The folder of one study.
///
/// ```
/// use bicolumn_store::StudyFolder;
/// let folder = StudyFolder::new("results/first-look");
/// assert!(folder.record_file("p001").ends_with("points/p001/record.json"));
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyFolder {
    root: PathBuf,
}

impl StudyFolder {
    /// The folder at `root`; nothing is touched.
    pub fn new(root: impl Into<PathBuf>) -> StudyFolder {
        StudyFolder { root: root.into() }
    }

    /// The folder itself.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// `study.json`: what holds for all points.
    pub fn study_file(&self) -> PathBuf {
        self.root.join("study.json")
    }

    /// `results.csv`: a row per point and load case.
    pub fn results_csv(&self) -> PathBuf {
        self.root.join("results.csv")
    }

    /// `results.parquet`: the same table.
    pub fn results_parquet(&self) -> PathBuf {
        self.root.join("results.parquet")
    }

    /// `columns.json`: every column of every table.
    pub fn columns_json(&self) -> PathBuf {
        self.root.join("columns.json")
    }

    /// `screws.csv`: a row per point, load case, screw and cut.
    pub fn screws_csv(&self) -> PathBuf {
        self.root.join("screws.csv")
    }

    /// `hypothesis.csv`: a row per construct, load case and level of the job's hypothesis.
    pub fn hypothesis_csv(&self) -> PathBuf {
        self.root.join("hypothesis.csv")
    }

    /// `published.csv`: a row for each published value that the job sets beside its own.
    pub fn published_csv(&self) -> PathBuf {
        self.root.join("published.csv")
    }

    /// `models.json`: models of the headline response over the factors.
    pub fn models_json(&self) -> PathBuf {
        self.root.join("models.json")
    }

    /// `pareto.csv`: a row per load case and point, with what is weighed and whether another point betters it.
    pub fn pareto_csv(&self) -> PathBuf {
        self.root.join("pareto.csv")
    }

    /// `sensitivity.csv`: a row per point, load case, stress response and choice of its definition.
    pub fn sensitivity_csv(&self) -> PathBuf {
        self.root.join("sensitivity.csv")
    }

    /// `regression.csv`: of a sampled design, a row per load case, response and term of the linear model.
    pub fn regression_csv(&self) -> PathBuf {
        self.root.join("regression.csv")
    }

    /// `effects.csv`: a row per load case, response and term of the design.
    pub fn effects_csv(&self) -> PathBuf {
        self.root.join("effects.csv")
    }

    /// `report.html`.
    pub fn report_html(&self) -> PathBuf {
        self.root.join("report.html")
    }

    /// `mesh_noise.json`: the noise floor of the responses, where it was measured.
    pub fn mesh_noise_file(&self) -> PathBuf {
        self.root.join("mesh_noise.json")
    }

    /// `points`: a folder for each point.
    pub fn points_folder(&self) -> PathBuf {
        self.root.join("points")
    }

    /// `earlier`: finished points that the job asks for no more.
    pub fn earlier_folder(&self) -> PathBuf {
        self.root.join("earlier")
    }

    /// `figures`: the report's charts as files.
    pub fn figures_folder(&self) -> PathBuf {
        self.root.join("figures")
    }

    /// `intact`: solutions of intact bones, while a run needs them.
    pub fn intact_folder(&self) -> PathBuf {
        self.root.join("intact")
    }

    /// Folder of one point.
    pub fn point_folder(&self, id: &str) -> PathBuf {
        self.points_folder().join(id)
    }

    /// `record.json` of one point.
    pub fn record_file(&self, id: &str) -> PathBuf {
        self.point_folder(id).join("record.json")
    }

    /// `surface.vtu` of one point: the triangles that pictures are made of.
    pub fn surface_vtu(&self, id: &str) -> PathBuf {
        self.point_folder(id).join("surface.vtu")
    }

    /// `surface.json` of one point: names of the parts and load cases in `surface.vtu`.
    pub fn surface_json(&self, id: &str) -> PathBuf {
        self.point_folder(id).join("surface.json")
    }
}
