// Hands a list of contents to a fixture writer.
#pragma once

#include <vector>

#include "kernel/contents.h"
#include "writers/bfs_writer.h"
#include "writers/fat_writer.h"
#include "writers/ffs_writer.h"
#include "writers/hfs_writer.h"
#include "writers/hfsplus_writer.h"
#include "writers/iso9660_writer.h"
#include "writers/minix_writer.h"
#include "writers/unix_tree.h"

namespace platter::test {

using ContentItems = std::vector<ContentItem>;

// Each throws std::invalid_argument for what the filesystem cannot hold.
void give(fixtures::UnixTreeWriter& writer, const ContentItems& items);
void give(fixtures::FfsWriter& writer, const ContentItems& items);
void give(fixtures::MinixWriter& writer, const ContentItems& items);
void give(fixtures::Iso9660Writer& writer, const ContentItems& items);
void give(fixtures::BfsWriter& writer, const ContentItems& items);
void give(fixtures::FatWriter& writer, const ContentItems& items);
void give(fixtures::HfsWriter& writer, const ContentItems& items);
void give(fixtures::HfsPlusWriter& writer, const ContentItems& items);

}  // namespace platter::test
