//! scratch
use serrata_frame::{Decode, Frame, Limits, Picture};
use serrata_words::{Modality, Ring};
use std::{path::{Path, PathBuf}, time::Instant};

fn data() -> PathBuf { Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/data") }
fn load(p: &Path) -> Frame { Picture.decode(&std::fs::read(p).unwrap(), &Limits::default()).unwrap().remove(0) }
fn inside(rings: &[Ring], x: f64, y: f64) -> bool {
    let mut n = 0;
    for r in rings { for i in 0..r.len() { let (a,b)=(r[i], r[(i+1)%r.len()]);
        if (a[1]>y)!=(b[1]>y) && x < (b[0]-a[0])*(y-a[1])/(b[1]-a[1])+a[0] { n+=1; } } }
    n%2==1
}
fn main() {
    let d = data();
    let mut files = vec![];
    for set in ["uwf_pairs_hires","uwf_triplets"] {
        let mut v: Vec<_> = std::fs::read_dir(d.join("annotations").join(set)).unwrap().map(|e| e.unwrap().path()).collect();
        v.sort();
        for p in v { let stem = p.file_stem().unwrap().to_string_lossy().to_string(); files.push((set, stem, p)); }
    }
    let mut sum = 0.0;
    for (set, stem, ann) in &files {
        let a: serde_json::Value = serde_json::from_slice(&std::fs::read(ann).unwrap()).unwrap();
        let ext = if *set=="uwf_triplets" {"png"} else {"jpg"};
        let f = load(&d.join(set).join(format!("{stem}.{ext}")));
        let m = if stem.contains("fa") { Modality::Fa } else { Modality::Colour };
        let t = Instant::now();
        let o = serrata_appraise::observe(&f, m, None);
        let ms = t.elapsed().as_secs_f64()*1000.0;
        let truth: Vec<Ring> = serde_json::from_value(a["visible_retina"].clone()).unwrap();
        let mut rings = o.visible_retina.place.polygons.clone(); rings.extend(o.visible_retina.place.holes.clone());
        let (w,h) = (f64::from(f.pixels.width()), f64::from(f.pixels.height()));
        let n = 300; let (mut i, mut u, mut only_t, mut only_o) = (0,0,0,0);
        for y in 0..n { for x in 0..n { let (px,py)=((x as f64+0.5)/n as f64*w,(y as f64+0.5)/n as f64*h);
            let (p,q)=(inside(&truth,px,py), inside(&rings,px,py));
            i += usize::from(p&&q); u += usize::from(p||q); only_t += usize::from(p&&!q); only_o += usize::from(q&&!p);
        } }
        let iou = i as f64/u as f64; sum += iou;
        let td: Vec<f64> = serde_json::from_value(a["disc"].clone()).unwrap();
        let dd = o.disc.map_or(9.9, |d| (d.x-td[0]).hypot(d.y-td[1])/td[2]/2.0);
        let fd = match (o.fovea, a["fovea"].as_array()) { (Some(f), Some(t)) => format!("{:.2}", (f.x-t[0].as_f64().unwrap()).hypot(f.y-t[1].as_f64().unwrap())/td[2]/2.0), (a,b)=>format!("{}/{}", a.is_some(), b.is_some()) };
        print!("disc {dd:.2} DD fovea {fd:5} eye {}/{:?} {:.3} ", a["eye"].as_str().unwrap(), o.eye.inferred, o.eye.probability);
        println!("{stem:16} {ms:6.0} ms IoU {iou:.3} miss {:.3} extra {:.3}", only_t as f64/u as f64, only_o as f64/u as f64);
        std::fs::create_dir_all("/tmp/ap/o").unwrap();
        std::fs::write(format!("/tmp/ap/o/{stem}.json"), serde_json::to_string(&o).unwrap()).unwrap();
    }
    println!("mean {:.4}", sum/files.len() as f64);
}
