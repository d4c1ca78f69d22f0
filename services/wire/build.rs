//! Compiles the contract under proto/ into Rust types, clients, servers and descriptor sets.
//! It never lets a contract through whose field options make no sense: such a build fails.

use std::error::Error;
use std::path::{Path, PathBuf};

use prost_reflect::DescriptorPool;

#[path = "src/options.rs"]
mod options;

/// Files under this folder are for services only and stay out of the public descriptor set.
const INTERNAL: &str = "hankbook/internal/";

fn main() -> Result<(), Box<dyn Error>> {
    let proto = Path::new(&std::env::var("CARGO_MANIFEST_DIR")?).join("../../proto");
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    println!("cargo::rerun-if-changed={}", proto.display());
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=src/options.rs");

    let mut files = Vec::new();
    proto_files(&proto.join("hankbook"), &mut files)?;
    files.sort();
    let mut compiler = protox::Compiler::new([&proto])?;
    compiler.include_imports(true).include_source_info(true).open_files(&files)?;

    // The encoded form keeps our own options; the prost_types form would drop them.
    let set = compiler.encode_file_descriptor_set();
    let pool = DescriptorPool::decode(set.as_slice())?;
    let problems = options::problems(&pool);
    if !problems.is_empty() {
        return Err(format!("the contract does not hold:\n  {}", problems.join("\n  ")).into());
    }
    std::fs::write(out.join("descriptors.bin"), &set)?;
    std::fs::write(out.join("public_descriptors.bin"), public_set(&pool)?)?;

    let mut prost = tonic_prost_build::Config::new();
    prost.enable_type_names();
    tonic_prost_build::configure()
        .bytes(".")
        .btree_map(".")
        .codec_path("crate::codec::CheckedCodec")
        .include_file("generated.rs")
        .compile_fds_with_config(compiler.file_descriptor_set(), prost)?;
    Ok(())
}

/// Every .proto file below `folder`.
fn proto_files(folder: &Path, files: &mut Vec<PathBuf>) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            proto_files(&path, files)?;
        } else if path.extension().is_some_and(|extension| extension == "proto") {
            files.push(path);
        }
    }
    Ok(())
}

/// The encoded set without the files that only services may see.
fn public_set(pool: &DescriptorPool) -> Result<Vec<u8>, prost::EncodeError> {
    let mut set = Vec::new();
    for file in pool.files().filter(|file| !file.name().starts_with(INTERNAL)) {
        let mut encoded = Vec::new();
        file.encode(&mut encoded)?;
        // Field 1 of google.protobuf.FileDescriptorSet.
        prost::encoding::bytes::encode(1, &encoded, &mut set);
    }
    Ok(set)
}
