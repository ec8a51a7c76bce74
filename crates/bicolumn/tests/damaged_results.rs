//! A folder of results damaged in some fifty ways: `report` takes nothing that is not this study's for a result, names what it
//! could not read, says so by its exit status, and never panics; `run` solves again what is damaged.

use crate::support::{TWO_POINTS, call, call_on, rows};
use bicolumn_formats::{Field, Values, read_vtu, write_vtu};
use bicolumn_store::{
    FactorValue, PointRecord, StudyFolder, StudyRecord, gather, read_record, write_record,
};
use std::fs;
use std::path::Path;
use std::process::Command;

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().flatten() {
        let to = to.join(entry.file_name());
        match entry.path().is_dir() {
            true => copied(&entry.path(), &to),
            false => drop(fs::copy(entry.path(), to).unwrap()),
        }
    }
}

fn point(folder: &StudyFolder, id: &str, change: impl Fn(&mut PointRecord)) {
    let path = folder.record_file(id);
    let mut record: PointRecord = read_record(&path).unwrap();
    change(&mut record);
    write_record(&path, &record).unwrap();
}

fn study(folder: &StudyFolder, change: impl Fn(&mut StudyRecord)) {
    let path = folder.study_file();
    let mut record: StudyRecord = read_record(&path).unwrap();
    change(&mut record);
    write_record(&path, &record).unwrap();
}

fn text(path: &Path, change: impl Fn(&[u8]) -> Vec<u8>) {
    let bytes = fs::read(path).unwrap();
    fs::write(path, change(&bytes)).unwrap();
}

fn half(bytes: &[u8]) -> Vec<u8> {
    bytes[..bytes.len() / 2].to_vec()
}

fn flipped(bytes: &[u8]) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    bytes
}

fn grid(path: &Path, change: impl Fn(&mut bicolumn_formats::Grid)) {
    let mut grid = read_vtu(path).unwrap();
    change(&mut grid);
    let mut bytes = Vec::new();
    write_vtu(&mut bytes, &grid).unwrap();
    fs::write(path, bytes).unwrap();
}

fn in_place_of(path: &Path, make: impl Fn(&Path)) {
    fs::remove_file(path).unwrap();
    make(path);
}

/// Part of the folder that a damage costs.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Costs {
    /// Nothing.
    Nothing,
    /// The first point.
    Point,
    /// Both points.
    Points,
    /// Pictures, or a figure of the report.
    Part,
    /// The report.
    Report,
}

type Damage = (&'static str, Costs, &'static str, Box<dyn Fn(&StudyFolder)>);

fn damage(
    name: &'static str,
    costs: Costs,
    named: &'static str,
    act: impl Fn(&StudyFolder) + 'static,
) -> Damage {
    (name, costs, named, Box::new(act))
}

fn of_records() -> Vec<Damage> {
    use Costs::{Point, Points};
    let record = |name, act: fn(&Path)| {
        damage(
            name,
            Point,
            "p001: points/p001/record.json",
            move |f: &StudyFolder| {
                act(&f.record_file("p001"));
            },
        )
    };
    let changed = |name, named, act: fn(&mut PointRecord)| {
        damage(name, Point, named, move |f: &StudyFolder| {
            point(f, "p001", act)
        })
    };
    let mut all = vec![
        record("cut", |p| text(p, half)),
        record("empty", |p| text(p, |_| vec![])),
        record("a flipped bit", |p| text(p, flipped)),
        record("missing", |p| fs::remove_file(p).unwrap()),
        record("a folder", |p| {
            in_place_of(p, |p| fs::create_dir(p).unwrap())
        }),
        record("no text", |p| text(p, |b| [b"\xff\xfe", b].concat())),
        record("a list", |p| text(p, |_| b"[1, 2]".to_vec())),
        record("null", |p| text(p, |_| b"null".to_vec())),
        record("nested", |p| text(p, |_| vec![b'['; 200_000])),
        record("random", |p| {
            text(p, |b| b.iter().map(|x| x.wrapping_mul(37)).collect());
        }),
        record("checksum gone", |p| {
            text(p, |b| {
                let text = String::from_utf8(b.to_vec()).unwrap();
                text.replace("\"checksum\"", "\"checksun\"").into_bytes()
            });
        }),
        record("another checksum", |p| {
            text(p, |b| {
                let text = String::from_utf8(b.to_vec()).unwrap();
                let at = text.find("\"checksum\": \"").unwrap() + 13;
                format!("{}{}{}", &text[..at], "0".repeat(64), &text[at + 64..]).into_bytes()
            });
        }),
        record("huge", |p| {
            let file = fs::OpenOptions::new().write(true).open(p).unwrap();
            file.set_len(1 << 40)
                .or_else(|_| file.set_len(1 << 30))
                .unwrap();
        }),
        record("of study.json", |p| {
            let study = p.parent().unwrap().join("../../study.json");
            let _ = fs::copy(study, p).unwrap();
        }),
        changed("another id", "calls itself p009", |r| r.id = "p009".into()),
        changed("another digest", "another point or study", |r| {
            r.digest = "0".repeat(64);
        }),
        changed("another schema", "schema 99", |r| r.schema = 99),
        changed("another engine", "results of version 0.0.0", |r| {
            r.engine_version = "0.0.0".into();
        }),
        changed("another level", "levels are not the study's", |r| {
            r.factors
                .insert("loads.axial_n".into(), FactorValue::Number(150.0));
        }),
        changed("a factor more", "levels are not the study's", |r| {
            r.factors
                .insert("plates.width_mm".into(), FactorValue::Number(9.0));
        }),
        changed("no factor", "levels are not the study's", |r| {
            r.factors.clear()
        }),
        damage("another point's", Point, "another point", |f| {
            let _ = fs::copy(f.record_file("p002"), f.record_file("p001")).unwrap();
        }),
        damage("exchanged", Points, "another point", |f| {
            let [a, b] = ["p001", "p002"].map(|id| f.record_file(id));
            let first = fs::read(&a).unwrap();
            let _ = fs::copy(&b, &a).unwrap();
            fs::write(&b, first).unwrap();
        }),
        damage("no points", Points, "no such file", |f| {
            fs::remove_dir_all(f.points_folder()).unwrap();
        }),
        damage("a point is a file", Point, "p001", |f| {
            fs::remove_dir_all(f.point_folder("p001")).unwrap();
            fs::write(f.point_folder("p001"), "mine").unwrap();
        }),
    ];
    if cfg!(unix) {
        all.extend(of_links());
    }
    all
}

#[cfg(unix)]
fn link(to: &Path, at: &Path) {
    std::os::unix::fs::symlink(to, at).unwrap();
}

#[cfg(not(unix))]
fn link(_: &Path, _: &Path) {}

fn of_links() -> Vec<Damage> {
    let linked = |name, to: &'static str| {
        damage(
            name,
            Costs::Point,
            "p001: points/p001/record.json",
            move |f| {
                in_place_of(&f.record_file("p001"), |p| link(Path::new(to), p));
            },
        )
    };
    vec![
        linked("a link to itself", "record.json"),
        linked("a link to nothing", "/nowhere/at/all"),
        linked("an empty device", "/dev/null"),
        linked("an endless device", "/dev/zero"),
        damage("a pipe", Costs::Point, "it is no file", |f| {
            in_place_of(&f.record_file("p001"), |p| {
                assert!(Command::new("mkfifo").arg(p).status().unwrap().success());
            });
        }),
        damage("a folder linked", Costs::Point, "another point", |f| {
            fs::remove_dir_all(f.point_folder("p001")).unwrap();
            link(&f.point_folder("p002"), &f.point_folder("p001"));
        }),
        damage("a table linked out", Costs::Nothing, "", |f| {
            let out = f.root().join("../kept.txt");
            fs::write(&out, "mine").unwrap();
            in_place_of(&f.results_csv(), |p| link(&out, p));
        }),
    ]
}

fn of_parts() -> Vec<Damage> {
    use Costs::{Nothing, Part, Report};
    let surface = |name, act: fn(&Path)| {
        damage(
            name,
            Part,
            "points/p001/surface.vtu: ",
            move |f: &StudyFolder| {
                act(&f.surface_vtu("p001"));
            },
        )
    };
    let names = |name, act: fn(&Path)| {
        damage(
            name,
            Part,
            "points/p001/surface.json: ",
            move |f: &StudyFolder| {
                act(&f.surface_json("p001"));
            },
        )
    };
    vec![
        surface("picture cut", |p| text(p, half)),
        surface("picture empty", |p| text(p, |_| vec![])),
        surface("picture flipped", |p| text(p, flipped)),
        surface("picture missing", |p| fs::remove_file(p).unwrap()),
        surface("picture a folder", |p| {
            in_place_of(p, |p| fs::create_dir(p).unwrap())
        }),
        surface("picture of text", |p| text(p, |_| b"{}".to_vec())),
        surface("a point that is none", |p| {
            grid(p, |g| g.points[3].x = f64::NAN)
        }),
        surface("a point far off", |p| grid(p, |g| g.points[3].y = 1e30)),
        surface("stress that is none", |p| {
            grid(p, |g| {
                let values = Values::F32(vec![f32::NAN; g.points.len()]);
                g.point_data = vec![Field::scalar("mises_axial_mpa", values)];
            });
        }),
        surface("no stress", |p| grid(p, |g| g.point_data.clear())),
        surface("no parts", |p| grid(p, |g| g.cell_data.clear())),
        names("names missing", |p| fs::remove_file(p).unwrap()),
        names("names empty", |p| text(p, |_| vec![])),
        names("names of another case", |p| {
            text(p, |b| {
                String::from_utf8(b.to_vec())
                    .unwrap()
                    .replace("axial", "varus")
                    .into()
            });
        }),
        damage("noise damaged", Part, "mesh_noise.json: ", |f| {
            fs::write(f.mesh_noise_file(), "{\"poses\": 8}").unwrap();
        }),
        damage("noise a folder", Part, "mesh_noise.json: ", |f| {
            fs::create_dir(f.mesh_noise_file()).unwrap();
        }),
        damage("study cut", Report, "study.json: ", |f| {
            text(&f.study_file(), half)
        }),
        damage("study missing", Report, "study.json: ", |f| {
            fs::remove_file(f.study_file()).unwrap();
        }),
        damage("study of another schema", Report, "schema 99", |f| {
            study(f, |s| s.schema = 99)
        }),
        damage("study outside", Report, "a point is called", |f| {
            study(f, |s| s.points[0] = "../../other/points/p001".into());
        }),
        damage("study with a point twice", Report, "there twice", |f| {
            study(f, |s| s.points[1] = s.points[0].clone());
        }),
        damage("study short of digests", Report, "differ in number", |f| {
            study(f, |s| s.digests.truncate(1));
        }),
        damage("study a point's", Report, "study.json: ", |f| {
            let _ = fs::copy(f.record_file("p001"), f.study_file()).unwrap();
        }),
        damage("table a folder", Report, "results.csv", |f| {
            in_place_of(&f.results_csv(), |p| fs::create_dir(p).unwrap());
        }),
        damage("page a folder", Report, "report.html", |f| {
            in_place_of(&f.report_html(), |p| fs::create_dir(p).unwrap());
        }),
        damage("tables random", Nothing, "", |f| {
            fs::write(f.results_csv(), [0xff; 999]).unwrap();
            fs::write(f.columns_json(), "[").unwrap();
        }),
        damage("a file half written", Nothing, "", |f| {
            fs::write(f.point_folder("p001").join(".writing-abc"), "x").unwrap();
        }),
    ]
}

/// Every row is right or says that it was not read.
fn tables(folder: &StudyFolder, right: &[Vec<String>], costs: Costs, told: &str) {
    let lost = match costs {
        Costs::Point => 1,
        Costs::Points => 2,
        Costs::Nothing | Costs::Part | Costs::Report => 0,
    };
    let read = rows(folder);
    let is_right = |row: &&Vec<String>| right.contains(row);
    assert_eq!(read.iter().filter(is_right).count(), 2 - lost, "{told}");
    let is_unread = |row: &&Vec<String>| row.iter().any(|c| c == "unread");
    assert_eq!(read.iter().filter(is_unread).count(), lost, "{told}");
}

#[test]
fn whatever_is_damaged_is_named_and_nothing_wrong_is_read() {
    let temp = tempfile::tempdir().unwrap();
    let (status, _, err) = call_on(
        temp.path(),
        TWO_POINTS,
        &["run", "job.toml", "--out", "good"],
    );
    assert_eq!(status, 0, "{err}");
    let good = temp.path().join("good");
    let right = rows(&StudyFolder::new(&good));
    assert_eq!(right.len(), 2);
    let damages: Vec<Damage> = of_records().into_iter().chain(of_parts()).collect();
    assert!(damages.len() >= 40, "{}", damages.len());
    for (n, (name, costs, named, act)) in damages.iter().enumerate() {
        let dir = temp.path().join("bad");
        copied(&good, &dir);
        let folder = StudyFolder::new(&dir);
        act(&folder);
        // Pictures take most of the time: of damaged points every fifth is asked of the program, all of the tables.
        let is_of_point = matches!(costs, Costs::Point | Costs::Points);
        if is_of_point && n % 5 > 0 {
            let all = gather(&folder).unwrap();
            let reasons: Vec<String> = all
                .unread
                .iter()
                .map(|(id, why)| format!("{id}: {why}"))
                .collect();
            let told = reasons.join("\n");
            assert!(told.contains(named), "{name}: {told}");
            tables(&folder, &right, *costs, &format!("{name}: {told}"));
            fs::remove_dir_all(&dir).unwrap();
            continue;
        }
        let (status, out, err) = call(temp.path(), &["report", "bad"]);
        let told = format!("{name}: status {status}\n{out}{err}");
        assert!(
            !err.contains("panicked") && !err.contains("internal"),
            "{told}"
        );
        assert!(err.contains(named), "{told}");
        let wanted = match costs {
            Costs::Nothing => 0,
            Costs::Point | Costs::Points | Costs::Part => 1,
            Costs::Report => 2,
        };
        assert_eq!(status, wanted, "{told}");
        if status < 2 {
            assert!(folder.report_html().is_file(), "{told}");
            tables(&folder, &right, *costs, &told);
        }
        fs::remove_dir_all(&dir).unwrap();
    }
    let kept = fs::read_to_string(temp.path().join("kept.txt"));
    assert!(kept.is_ok_and(|k| k == "mine") || cfg!(not(unix)));

    // A run takes what is whole and solves the rest again.
    text(&StudyFolder::new(&good).record_file("p001"), flipped);
    let (status, _, err) = call(temp.path(), &["run", "job.toml", "--out", "good"]);
    assert_eq!(status, 0, "{err}");
    assert!(err.contains("1 solved, 1 kept from before"), "{err}");
    assert!(err.contains("p001 is solved again"), "{err}");
    assert_eq!(rows(&StudyFolder::new(&good)), right);
    text(&StudyFolder::new(&good).surface_vtu("p001"), half);
    let (status, out, err) = call(temp.path(), &["run", "job.toml", "--out", "good"]);
    assert_eq!(status, 1, "{err}");
    assert!(out.contains("report.html"), "{out}");
    assert!(err.contains("points/p001/surface.vtu: "), "{err}");

    // Models that cannot be read predict nothing.
    for bytes in [
        &b""[..],
        b"null",
        b"[1, 2]",
        b"{\"checksum\": 3}",
        &[b'['; 200_000],
        &[0xff; 99],
    ] {
        fs::write(good.join("models.json"), bytes).unwrap();
        let asked = ["predict", "good", "--at", "loads.axial_n=150"];
        let (status, out, err) = call(temp.path(), &asked);
        assert_eq!(status, 2, "{out}{err}");
        assert!(
            err.contains("models.json") && !err.contains("panicked"),
            "{err}"
        );
    }
}
