//! The description of a glTF scene, as far as it is read.

use serde::Deserialize;

/// Longest list of nodes, meshes, accessors and their like.
const MOST_LISTED: usize = 100_000;

/// A list that is not longer than is believed: a few bytes of text become hundreds in memory.
fn few<'de, D, T>(list: D) -> std::result::Result<Vec<T>, D::Error>
where
    D: serde::Deserializer<'de>,
    T: Deserialize<'de>,
{
    struct Few<T>(std::marker::PhantomData<T>);
    impl<'de, T: Deserialize<'de>> serde::de::Visitor<'de> for Few<T> {
        type Value = Vec<T>;
        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            write!(f, "a list of at most {MOST_LISTED}")
        }
        fn visit_seq<A: serde::de::SeqAccess<'de>>(
            self,
            mut list: A,
        ) -> std::result::Result<Vec<T>, A::Error> {
            let mut all = Vec::new();
            while let Some(one) = list.next_element()? {
                if all.len() >= MOST_LISTED {
                    return Err(serde::de::Error::invalid_length(all.len() + 1, &self));
                }
                all.push(one);
            }
            Ok(all)
        }
    }
    list.deserialize_seq(Few(std::marker::PhantomData))
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
pub struct Document {
    pub scene: Option<usize>,
    #[serde(deserialize_with = "few")]
    pub scenes: Vec<Scene>,
    #[serde(deserialize_with = "few")]
    pub nodes: Vec<Node>,
    #[serde(deserialize_with = "few")]
    pub meshes: Vec<MeshJson>,
    #[serde(deserialize_with = "few")]
    pub accessors: Vec<Accessor>,
    #[serde(deserialize_with = "few")]
    pub buffer_views: Vec<View>,
    #[serde(deserialize_with = "few")]
    pub buffers: Vec<Buffer>,
    #[serde(deserialize_with = "few")]
    pub extensions_required: Vec<String>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Scene {
    #[serde(deserialize_with = "few")]
    pub nodes: Vec<usize>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Node {
    pub mesh: Option<usize>,
    pub skin: Option<usize>,
    #[serde(deserialize_with = "few")]
    pub children: Vec<usize>,
    pub matrix: Option<[f64; 16]>,
    pub translation: Option<[f64; 3]>,
    pub rotation: Option<[f64; 4]>,
    pub scale: Option<[f64; 3]>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct MeshJson {
    #[serde(deserialize_with = "few")]
    pub primitives: Vec<Primitive>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Primitive {
    pub attributes: Attributes,
    pub indices: Option<usize>,
    pub mode: Option<u32>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Attributes {
    #[serde(rename = "POSITION")]
    pub position: Option<usize>,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
pub struct Accessor {
    pub buffer_view: Option<usize>,
    pub byte_offset: u64,
    pub component_type: u32,
    pub normalized: bool,
    pub count: u64,
    #[serde(rename = "type")]
    pub shape: String,
    pub sparse: Option<serde::de::IgnoredAny>,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
pub struct View {
    pub buffer: usize,
    pub byte_offset: u64,
    pub byte_length: u64,
    pub byte_stride: Option<u64>,
}

#[derive(Deserialize, Default)]
#[serde(default, rename_all = "camelCase")]
pub struct Buffer {
    pub uri: Option<String>,
    pub byte_length: u64,
}
