// Structures of the fast file system's superblock, shared by the decoder and the fixture writers.
//
// All dialects agree on bytes 0..127, 152..211 and on the magic at 1372; the rest is a union, so
// every dialect has a structure of its own over the same bytes. `kFfsSuperblock` is the part that
// they share: it tells which of the others to use.
#pragma once

#include "core/field_list.h"
#include "core/layout.h"

namespace platter::filesystem {

inline constexpr std::uint64_t kFfsMagic = 0x00011954;
inline constexpr std::uint64_t kUfs2Magic = 0x19540119;
inline constexpr std::uint64_t kFfsUnfinishedMagic = 0x19960408;  // FreeBSD fs.h, FS_BAD_MAGIC
inline constexpr std::uint64_t kFfsLongNamesMagic = 0x00095014;
inline constexpr std::uint64_t kFfsSecureMagic = 0x00612195;
inline constexpr std::uint64_t kFfsFeatureMagic = 0x00195612;
inline constexpr std::uint64_t kFfsLargeMagic = 0x05231994;

/// `state` + `time` of a superblock whose clean byte may be trusted (SVR4 line), modulo 2^32.
inline constexpr std::uint64_t kFfsStateSum = 0x7C269D38;
/// Bit of `flags` in kFfsBody: the wide fields of kFfsWide are in use.
inline constexpr std::uint64_t kFfsWideFlag = 0x80;
inline constexpr std::int64_t kFfs42InodeFormat = -1;
inline constexpr std::int64_t kFfs44InodeFormat = 2;

inline constexpr Name kFfsMagics[] = {{kFfsMagic, "UFS1"},
                                      {kUfs2Magic, "UFS2"},
                                      {kFfsUnfinishedMagic, "creation was interrupted"},
                                      {kFfsLongNamesMagic, "dialect V, long names"},
                                      {kFfsSecureMagic, "dialect V, security labels"},
                                      {kFfsFeatureMagic, "dialect V, feature bits"},
                                      {kFfsLargeMagic, "dialect V, feature bits, more than 4 GB"}};

inline constexpr Name kFfsOptimisations[] = {{0, "time"}, {1, "space"}};

inline constexpr Field kFfsSummaryFields[] = {
    s32("directories", 0, "directories"),
    s32("free_blocks", 4, "wholly free blocks"),
    s32("free_inodes", 8, "free inodes"),
    s32("free_fragments", 12, "free fragments in blocks that are partly used", unit::fragments),
};
inline constexpr Structure kFfsSummary =
    structure("FFS summary", "NetBSD sys/ufs/ffs/fs.h, struct csum", 16, kFfsSummaryFields);

inline constexpr Field kFfsHeadFields[] = {
    u32("link", 0, "meaningful in memory only"),
    u32("rolled", 4, "SVR4 line with a log: 1 the log is rolled, 2 it is not"),
    u32("sblkno", 8, "superblock copy in a group", unit::fragments),
    u32("cblkno", 12, "group block in a group", unit::fragments),
    u32("iblkno", 16, "first inode block in a group", unit::fragments),
    u32("dblkno", 20, "first data in a group", unit::fragments),
    u32("cgoffset", 24, "how far each group's start is shifted", unit::fragments),
    u32("cgmask", 28, "the shift is cgoffset * (group & ~cgmask)"),
    s32("time", 32, "last write", unit::unix_time),
    u32("size", 36, "the whole filesystem", unit::fragments),
    u32("dsize", 40, "data: size without the filesystem's own records", unit::fragments),
    u32("ncg", 44, "groups"),
    u32("bsize", 48, "block", unit::bytes),
    u32("fsize", 52, "fragment, the unit of all addresses", unit::bytes),
    u32("frag", 56, "fragments in a block"),
    u32("minfree", 60, "kept back from ordinary users", unit::percent),
    u32("rotdelay", 64, "time to the next block", unit::milliseconds),
    u32("rps", 68, "revolutions per second"),
    u32("bmask", 72, "~(bsize - 1)"),
    u32("fmask", 76, "~(fsize - 1)"),
    u32("bshift", 80, "log2 of bsize"),
    u32("fshift", 84, "log2 of fsize"),
    u32("maxcontig", 88, "blocks that are laid out in one run"),
    u32("maxbpg", 92, "blocks one file may take of a group"),
    u32("fragshift", 96, "log2 of frag"),
    u32("fsbtodb", 100, "log2 of device blocks in a fragment"),
    u32("sbsize", 104, "superblock, rounded up to fragments", unit::bytes),
    u32("csmask", 108, "old index of the summaries"),
    u32("csshift", 112, "old index of the summaries"),
    u32("nindir", 116, "addresses in an indirect block"),
    u32("inopb", 120, "inodes in a block"),
    u32("nspf", 124, "device blocks in a fragment"),
};
inline constexpr Structure kFfsHead = structure(
    "FFS superblock, bytes 0 to 127", "NetBSD sys/ufs/ffs/fs.h, struct fs", 128, kFfsHeadFields);

inline constexpr Field kFfsBodyFields[] = {
    u32("csaddr", 0, "summary area", unit::fragments),
    u32("cssize", 4, "summary area", unit::bytes),
    u32("cgsize", 8, "group block", unit::bytes),
    u32("ntrak", 12, "tracks in a cylinder", unit::tracks),
    u32("nsect", 16, "sectors in a track", unit::sectors),
    u32("spc", 20, "sectors in a cylinder", unit::sectors),
    u32("ncyl", 24, "cylinders", unit::cylinders),
    u32("cpg", 28, "cylinders in a group", unit::cylinders),
    u32("ipg", 32, "inodes in a group"),
    u32("fpg", 36, "a group", unit::fragments),
    records("cstotal", 40, 1, kFfsSummary, "sums over all groups"),
    u8("fmod", 56, "meaningful in memory only"),
    u8("clean", 57, "whether it was unmounted; meaning differs between dialects"),
    u8("ronly", 58, "meaningful in memory only"),
    u8("flags", 59, "0x80: wide fields are in use (4.4BSD line)"),
};
inline constexpr Structure kFfsBody = structure(
    "FFS superblock, bytes 152 to 211", "NetBSD sys/ufs/ffs/fs.h, struct fs", 60, kFfsBodyFields);

// What several dialects have in common besides.
inline constexpr Field kFfsHeadPart = records("head", 0, 1, kFfsHead, "shared by all dialects");
inline constexpr Field kFfsBodyPart = records("body", 0, 1, kFfsBody, "shared by all dialects");
inline constexpr Field kFfsMagicField = u32("magic", 0, "magic", unit::none, kFfsMagics);
inline constexpr Field kFfsOptimField =
    u32("optim", 0, "what allocation optimises", unit::none, kFfsOptimisations);
inline constexpr Field kFfsTrackField =
    u32("npsect", 0, "sectors in a track with spares", unit::sectors);
inline constexpr Field kFfsUnusedIdField = array_of(2, u32("id", 0, "not used"));
inline constexpr Field kFfsMountField = text("fsmnt", 0, 512, "where it was last mounted");
inline constexpr FieldList kFfsRotorFields = {
    u32("cgrotor", 0, "group that was searched last"),
    bytes("csp", 4, 128, "addresses in memory"),
    u32("cpc", 132, "cylinders until the tables repeat", unit::cylinders),
};
inline constexpr Field kFfsStaticTableField =
    array_of(256, s16("postbl", 0, "first block of each of 8 positions in 32 cylinders"));
inline constexpr Field kFfsOldTableField =
    array_of(128, s16("opostbl", 0, "old place of the rotational table"));

inline constexpr FieldList kFfsSuperblockFields = {
    kFfsHeadPart,
    bytes("union_128", 128, 24, "differs between dialects"),
    at(152, kFfsBodyPart),
    bytes("union_212", 212, 1160, "differs between dialects"),
    at(1372, kFfsMagicField),
};
inline constexpr Structure kFfsSuperblock =
    structure("FFS superblock", "NetBSD sys/ufs/ffs/fs.h, struct fs", 1376, kFfsSuperblockFields);

inline constexpr Field kFfsRotationFields[] = {
    s32("postblformat", 0, "-1 the tables stand at 860, 1 they stand where the next fields say"),
    u32("nrpos", 4, "rotational positions"),
    u32("postbloff", 8, "first block of each position", unit::bytes),
    u32("rotbloff", 12, "next block at the same position", unit::bytes),
};
inline constexpr Structure kFfsRotation =
    structure("FFS superblock, bytes 1356 to 1371", "NetBSD sys/ufs/ffs/fs.h, struct fs", 16,
              kFfsRotationFields);

// 4.2BSD, 4.3BSD and what was built from them before the tables became dynamic.
inline constexpr FieldList kFfsClassicFields = {
    kFfsHeadPart,
    at(128, kFfsOptimField),
    u32("npsect", 132, "sectors in a track with spares (4.3BSD-Tahoe)", unit::sectors),
    u32("interleave", 136, "interleave (4.3BSD-Tahoe)"),
    u32("trackskew", 140, "skew of each track (4.3BSD-Tahoe)", unit::sectors),
    at(144, kFfsUnusedIdField),
    at(152, kFfsBodyPart),
    at(212, kFfsMountField),
    at(724, kFfsRotorFields),
    at(860, kFfsStaticTableField),
    at(1372, kFfsMagicField),
};
inline constexpr Structure kFfsClassic = structure(
    "FFS superblock, 4.2BSD and 4.3BSD", "4.3BSD sys/fs.h, struct fs", 1376, kFfsClassicFields);

// The dialects whose rotational tables may stand elsewhere end alike.
inline constexpr FieldList kFfsEndFields = {
    records("rotation", 0, 1, kFfsRotation, "where the rotational tables stand"),
    at(16, kFfsMagicField),
};

// The SVR4 line. `npsect` and `state` change places with the byte order.
consteval auto ffs_svr4_fields(const Field& at_132, const Field& at_1336) {
  return FieldList{
      kFfsHeadPart,
      at(128, kFfsOptimField),
      at(132, at_132),
      u32("interleave", 136, "interleave; with a log: 1 the summary is out of date"),
      u32("trackskew", 140, "skew of each track", unit::sectors),
      at(144, kFfsUnusedIdField),
      at(152, kFfsBodyPart),
      at(212, kFfsMountField),
      at(724, kFfsRotorFields),
      at(860, kFfsOldTableField),
      reserved(1116, 204),
      u32("version", 1320, "minor version"),
      u32("logbno", 1324, "block of the log's allocation record; 0 = no log"),
      u32("reclaim", 1328, "deleted files that are still to be freed"),
      reserved(1332, 4),
      at(1336, at_1336),
      u64("qbmask", 1340, "bsize - 1"),
      u64("qfmask", 1348, "fsize - 1"),
      at(1356, kFfsEndFields),
  };
}
inline constexpr Field kFfsStateField =
    u32("state", 0, "state + time = 0x7C269D38: the clean byte may be trusted");

inline constexpr FieldList kFfsSvr4BigFields = ffs_svr4_fields(kFfsTrackField, kFfsStateField);
inline constexpr Structure kFfsSvr4Big =
    structure("FFS superblock, SVR4 line, big-endian",
              "illumos usr/src/uts/common/sys/fs/ufs_fs.h, struct fs", 1376, kFfsSvr4BigFields);

inline constexpr FieldList kFfsSvr4LittleFields = ffs_svr4_fields(kFfsStateField, kFfsTrackField);
inline constexpr Structure kFfsSvr4Little =
    structure("FFS superblock, SVR4 line, little-endian",
              "illumos usr/src/uts/common/sys/fs/ufs_fs.h, struct fs", 1376, kFfsSvr4LittleFields);

inline constexpr Field kFfs44TailFields[] = {
    u32("contigsumsize", 0, "entries of the cluster summary; 0 = none"),
    s32("maxsymlinklen", 4, "longest link text kept in an inode", unit::bytes),
    s32("inodefmt", 8, "-1 inodes of 4.2BSD, 2 inodes of 4.4BSD"),
    u64("maxfilesize", 12, "largest file", unit::bytes),
    u64("qbmask", 20, "bsize - 1"),
    u64("qfmask", 28, "fsize - 1"),
    u32("state", 36, "not used"),
};
inline constexpr Structure kFfs44Tail =
    structure("FFS superblock, bytes 1316 to 1355", "NetBSD sys/ufs/ffs/fs.h, struct fs", 40,
              kFfs44TailFields);

inline constexpr FieldList kFfs44StartFields = {
    kFfsHeadPart,
    at(128, kFfsOptimField),
    at(132, kFfsTrackField),
    u32("interleave", 136, "interleave"),
    u32("trackskew", 140, "skew of each track", unit::sectors),
    array_of(2, u32("id", 144, "time of creation, then a random number")),
    at(152, kFfsBodyPart),
};
inline constexpr Field kFfs44TailPart = records("tail", 0, 1, kFfs44Tail, "4.4BSD");

// 4.4BSD and its heirs until the fields were widened for UFS2.
inline constexpr FieldList kFfs44Fields = {
    kFfs44StartFields,          at(212, kFfsMountField), at(724, kFfsRotorFields),
    at(860, kFfsOldTableField), reserved(1116, 200),     at(1316, kFfs44TailPart),
    at(1356, kFfsEndFields),
};
inline constexpr Structure kFfs44 =
    structure("FFS superblock, 4.4BSD", "4.4BSD sys/ufs/ffs/fs.h, struct fs", 1376, kFfs44Fields);

// The 4.4BSD line with wide fields: UFS2, and UFS1 when the wide flag is set.
inline constexpr FieldList kFfsWideFields = {
    kFfs44StartFields,
    text("fsmnt", 212, 468, "where it was last mounted"),
    text("volname", 680, 32, "volume name"),
    u64("swuid", 712, "identifier of the system"),
    reserved(720, 4),
    at(724, kFfsRotorFields),
    u32("maxbsize", 860, "largest run of blocks", unit::bytes),
    reserved(864, 136, "counters of later kernels"),
    u64("sblockloc", 1000, "where the superblock in use stands", unit::bytes),
    s64("wide_directories", 1008, "directories"),
    s64("wide_free_blocks", 1016, "wholly free blocks"),
    s64("wide_free_inodes", 1024, "free inodes"),
    s64("wide_free_fragments", 1032, "free fragments in blocks that are partly used",
        unit::fragments),
    reserved(1040, 32, "counters of later kernels"),
    s64("wide_time", 1072, "last write", unit::unix_time),
    u64("wide_size", 1080, "the whole filesystem", unit::fragments),
    u64("wide_dsize", 1088, "data: size without the filesystem's own records", unit::fragments),
    u64("wide_csaddr", 1096, "summary area", unit::fragments),
    s64("pendingblocks", 1104, "blocks that are being freed"),
    u32("pendinginodes", 1112, "inodes that are being freed"),
    array_of(20, u32("snapinum", 1116, "inodes of snapshots")),
    u32("avgfilesize", 1196, "expected size of a file", unit::bytes),
    u32("avgfpdir", 1200, "expected files in a directory"),
    u32("save_cgsize", 1204, "true size of the group block", unit::bytes),
    reserved(1208, 104, "constants of later kernels"),
    u32("wide_flags", 1312, "1 unclean, 2 soft updates, 4 needs a check, 0x10 ACLs, 0x20 labels"),
    at(1316, kFfs44TailPart),
    at(1356, kFfsEndFields),
};
inline constexpr Structure kFfsWide =
    structure("FFS superblock, wide fields", "NetBSD and FreeBSD sys/ufs/ffs/fs.h, struct fs", 1376,
              kFfsWideFields);

// Dialect V: other fields at 128, static tables, two names behind the magic.
inline constexpr FieldList kFfsDialectVFields = {
    kFfsHeadPart,
    array_of(2, u32("id", 128, "identifier")),
    u32("mirror_state", 136, "state bits of mirrored root and swap devices"),
    u32("mirror_time", 140, "time of that state", unit::unix_time),
    u32("features", 144, "1 long names, 2 large files, 4 large user ids"),
    at(148, kFfsOptimField),
    at(152, kFfsBodyPart),
    at(212, kFfsMountField),
    at(724, kFfsRotorFields),
    at(860, kFfsStaticTableField),
    at(1372, kFfsMagicField),
    text("fname", 1376, 6, "name of the filesystem"),
    text("fpack", 1382, 6, "name of the volume"),
};
inline constexpr Structure kFfsDialectV =
    structure("FFS superblock, dialect V", "Linux fs/ufs/ufs_fs.h and an OSF/1 port's fs.h", 1388,
              kFfsDialectVFields);

}  // namespace platter::filesystem
